"""Telling people of alarms: who is told what, when, and why not. Pure: times are brought in, messages are taken out."""
