"""The tables that travel with the program: data/tables in, typed rows and look-ups out, each table read once.

Every room above may use the module of its subject: threads, instruments, work. They need the csv module alone.
`reader.shipped` finds what travels with the program, `reader.keep` keeps what was worked out before.
"""
