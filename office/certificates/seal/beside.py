"""Two things that were checked, beside each other: whether a code and a file, or a certificate and an amendment, belong
together. Both must be genuine to be compared; what was found is said in the second."""

from __future__ import annotations

from office.certificates.seal import statement
from office.certificates.seal.checking import FAILS, HOLDS, KINDS, Verdict
from office.certificates.snapshot import canonical, sha256


def compare(code: Verdict, other: Verdict) -> None:
    """Says in `other` whether a genuine code is of the same certificate; both must be genuine to be compared."""
    if not (code.genuine and code.stated and other.genuine and other.document):
        return
    if other.amends:
        if other.amends == code.number:
            other.say(HOLDS, f"The code beside it is of the certificate that it amends, {code.number}.")
        else:
            other.say(
                FAILS, f"The code beside it is genuine, but not of the certificate that it amends: {code.number}."
            )
        return
    mine = statement.of_snapshot(other.document, code.stated.key)
    if mine == code.stated:
        other.say(HOLDS, f"The code beside it is of the same certificate, {code.number}, and states the same.")
    elif code.number != other.number:
        other.say(FAILS, f"The code beside it is genuine, but of another certificate: {code.number}.")
    else:
        other.say(FAILS, f"The code beside it is of {code.number} too, but does not state the same.")


def compare_amendment(certificate: Verdict, amendment: Verdict) -> None:
    """Says in a genuine amendment whether a genuine certificate of that number is the one it names, by its hash."""
    same_number = bool(amendment.amends) and amendment.amends == certificate.number
    if not (same_number and certificate.genuine and amendment.genuine and certificate.document and amendment.document):
        return
    if sha256(canonical(certificate.document)) == amendment.document["certificate_sha256"]:
        amendment.say(HOLDS, f"The {KINDS[certificate.kind]} beside it is the certificate that it amends, by its hash.")
    else:
        amendment.say(FAILS, f"The {KINDS[certificate.kind]} beside it states something else than it amends.")
