"""The tables that travel with the program: data/tables in, typed rows and look-ups out, each table read once.

Every room above may use the module of its subject: threads, instruments, materials, work, costs, making. They need the
csv module alone. `shipped` finds what travels with the program, `remembered` keeps what was worked out before.
"""
