"""One file for each verb a user knows: load, call the core, save. Frozen results; nothing here prints."""
