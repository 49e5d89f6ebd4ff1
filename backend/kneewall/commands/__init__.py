"""The office's commands, a module each: `register` adds it to the command line."""
