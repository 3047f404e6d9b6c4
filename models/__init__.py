"""What a loop and a tank are: signal -> level -> volume. No I/O, no clock, no config formats.

Values are plain SI floats with the unit in the name; a missing value is ``None`` beside a quality.
"""
