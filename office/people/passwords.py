"""How passwords are hashed: Argon2id with parameters that leave a small server its memory.

19 MiB, two passes, one lane: the first of the equally strong choices of the OWASP Password Storage Cheat Sheet (from
memory). The framework's own choice takes 100 MiB for every sign-in and every signature.
"""

from __future__ import annotations

from django.contrib.auth.hashers import Argon2PasswordHasher


class OfficePasswordHasher(Argon2PasswordHasher):
    time_cost = 2
    memory_cost = 19 * 1024  # KiB
    parallelism = 1
