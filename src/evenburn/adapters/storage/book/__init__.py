"""The book: everything a bench has learnt and means to do, in one database and one folder of files."""
