"""The seal of a certificate: the office's keys, what is signed with them, and how anybody checks it.

making, passphrase, keyring, actions    the office's keys: made, kept encrypted, rotated, published
binary, statement                       the compact signed statement that a paper's code carries
statement_file                          what a certificate states, with its own signature, as one JSON file
pades, cms                              the signature of a PDF, written by pyHanko and read strictly
sealing                                 all three put on one certificate at its issue
checking                                a paper, a JSON file or a code's text held against the published keys
"""
