"""The wire's words, sans I/O: register codecs, block plan, reply checks, a read-only responder."""
