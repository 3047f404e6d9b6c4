"""The tree of commands: options, words of `--help`, and what each calls, a file an area, joined in `whole.py`.

Each command is imported when it is called: `verify` needs no web server, `convert` no store.
"""

from gaugehouse.commands.tree import Command
from gaugehouse.commands.whole import parser

__all__ = ["Command", "parser"]
