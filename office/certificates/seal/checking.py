"""A paper, a signed JSON file or the text of a code, held against an office's published keys. Asks no database.

Every answer is a list of points: what holds, what does not, and what cannot be told from here. Something is genuine
where a signature holds and nothing speaks against it; how a certificate stands today is another question, which only
the office's register answers.
"""

from __future__ import annotations

import datetime as dt
import io
import logging
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

import pypdf
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import load_der_public_key

from office.certificates.amending import ATTACHED_NAME as AMENDMENT_NAME
from office.certificates.amending import FORMAT as AMENDMENT_FORMAT
from office.certificates.amending import SIGNATURE_NAME as AMENDMENT_SIGNATURE_NAME
from office.certificates.pdf import ATTACHED_NAME, SIGNATURE_NAME
from office.certificates.seal import cms, pades, statement, statement_file
from office.certificates.seal.published import PAPER, STATEMENT, PublishedKey, PublishedKeys, instant
from office.certificates.snapshot import FORMAT

HOLDS, FAILS, UNKNOWN = "holds", "fails", "unknown"
KINDS = {"paper": "PDF", "file": "JSON file", "code": "code"}
LEEWAY = dt.timedelta(minutes=5)  # between two clocks
LARGEST_CODE = 4000
CARRIED = {
    statement_file.CERTIFICATE: (ATTACHED_NAME, SIGNATURE_NAME),
    statement_file.AMENDMENT: (AMENDMENT_NAME, AMENDMENT_SIGNATURE_NAME),
}
STATED = {statement_file.CERTIFICATE: FORMAT, statement_file.AMENDMENT: AMENDMENT_FORMAT}


@dataclass(frozen=True, slots=True)
class Point:
    mark: str  # holds | fails | unknown
    sentence: str


@dataclass(slots=True)
class Verdict:
    """What was found. `number` is empty where nothing trustworthy names one; `document`: the snapshot, if it has.

    Of an amendment, `number` is its own and `amends` that of the certificate it names.
    """

    kind: str
    number: str = ""
    amends: str = ""
    points: list[Point] = field(default_factory=list)
    document: dict[str, Any] | None = None
    stated: statement.Statement | None = None
    days: tuple[dt.date, dt.date] | None = None

    @property
    def genuine(self) -> bool:
        marks = [point.mark for point in self.points]
        return HOLDS in marks and FAILS not in marks

    def say(self, mark: str, sentence: str) -> None:
        self.points.append(Point(mark, sentence))


def check(content: bytes, keys: PublishedKeys, now: dt.datetime, *, thorough: bool = True) -> Verdict:
    """Whatever it is: a PDF, a JSON file, or the text of a code."""
    if content.startswith(b"%PDF-"):
        return check_paper(content, keys, now, thorough=thorough)
    if content.lstrip()[:1] == b"{":
        return check_file(content, keys, now)
    if content.strip() and len(content) <= LARGEST_CODE:
        try:
            return check_code(content.decode(), keys, now)
        except UnicodeDecodeError:
            pass
    verdict = Verdict("paper")
    verdict.say(FAILS, "It is neither a PDF nor a certificate's JSON file nor the text of a code.")
    return verdict


# ---- The code ----


def check_code(text: str, keys: PublishedKeys, now: dt.datetime) -> Verdict:
    verdict = Verdict("code")
    try:
        address, body, _ = statement.split(text)
        stated = statement.unpack(body)
    except statement.NoStatement as error:
        verdict.say(FAILS, str(error))
        return verdict
    key = keys.find(stated.key, STATEMENT)
    if key is None:
        host, ours = urlsplit(address).netloc, urlsplit(keys.address).netloc
        verdict.say(FAILS, _unknown_key(stated.key, keys, f"names {host}" if host != ours else ""))
        return verdict
    if not statement.signature_holds(text, _ed25519(key)):
        verdict.say(FAILS, "The code's signature does not hold: it was altered, or the office never signed it.")
        return verdict
    verdict.stated, verdict.number = stated, stated.number
    verdict.days = (stated.valid_from, stated.valid_until)
    verdict.say(HOLDS, f"{keys.office} signed what the code says, to the last sign, with its key {stated.key}.")
    _in_use(verdict, key, stated.issued_at, now)
    return verdict


# ---- The JSON file ----


def check_file(content: bytes, keys: PublishedKeys, now: dt.datetime) -> Verdict:
    verdict = Verdict("file")
    try:
        _signed_snapshot(verdict, statement_file.read(content), keys, now)
    except statement_file.NoStatementFile as error:
        verdict.say(FAILS, str(error))
    return verdict


def _signed_snapshot(
    verdict: Verdict, signed: statement_file.SignedSnapshot, keys: PublishedKeys, now: dt.datetime
) -> None:
    key = keys.find(signed.key, STATEMENT)
    if key is None:
        office = str(_at(signed.document, "office", "name"))
        names = f"names {office[:80]!r} as its office" if office != keys.office else ""
        verdict.say(FAILS, _unknown_key(signed.key[:16], keys, names))
        return
    if not signed.holds(_ed25519(key)):
        verdict.say(FAILS, "The signature of what it states does not hold: it was altered, or is another's.")
        return
    if signed.document.get("format") != STATED[signed.what]:
        form = STATED[signed.what]
        verdict.say(UNKNOWN, f"It states {_a(signed.what)} in another form than this check knows, {form}.")
        return
    verdict.document = signed.document
    verdict.say(HOLDS, f"{keys.office} signed what it states, to the last byte, with its key {key.identifier}.")
    if signed.what == statement_file.AMENDMENT:
        _name_amendment(verdict, signed.document)
    else:
        verdict.number, validity = str(signed.document["number"]), signed.document["validity"]
        verdict.days = (dt.date.fromisoformat(validity["from"]), dt.date.fromisoformat(validity["until"]))
    _in_use(verdict, key, dt.datetime.fromisoformat(signed.document["issued_at"]), now)


def _name_amendment(verdict: Verdict, document: dict[str, Any]) -> None:
    verdict.amends, verdict.document = str(document["certificate"]), document
    verdict.number = f"{verdict.amends}/A{document['number']}"
    verdict.say(HOLDS, f"It is amendment {document['number']} to certificate {verdict.amends}, not a certificate.")


def _a(what: str) -> str:
    return f"an {what}" if what[0] in "ae" else f"a {what}"


# ---- The paper ----


def check_paper(content: bytes, keys: PublishedKeys, now: dt.datetime, *, thorough: bool = True) -> Verdict:
    """`thorough` asks pyHanko as well; our own strict reading decides either way."""
    verdict = Verdict("paper")
    try:
        signature = cms.read(content)
    except (cms.Unsigned, cms.Broken) as error:
        verdict.say(FAILS, str(error))
        return verdict
    key = keys.by_certificate(signature.certificate)
    if key is None or key.purpose != PAPER:
        name = x509.load_der_x509_certificate(signature.certificate).subject.rfc4514_string()
        verdict.say(FAILS, f"It is signed, but not by {keys.office}: the signer calls itself {name[:120]!r}.")
        return verdict
    root = issuer_of(key, keys)
    if root is None:
        verdict.say(FAILS, f"The key {key.identifier} that signed it is not vouched for by a root of the office.")
        return verdict
    verdict.say(HOLDS, f"{keys.office} signed the whole file, to the last byte, with its key {key.identifier}.")
    issued = _what_it_carries(verdict, content, keys, now)
    if issued:
        _in_use(verdict, key, issued, now, clock=False)
        complaint = pades.complaint(content, [root.certificate], issued) if thorough else ""
        if complaint:
            verdict.say(FAILS, f"A second reader of signatures does not accept it ({complaint}).")
    return verdict


def _what_it_carries(verdict: Verdict, content: bytes, keys: PublishedKeys, now: dt.datetime) -> dt.datetime | None:
    """The certificate or the amendment attached to a PDF whose own signature holds; says when it was issued."""
    try:
        files = _attached(content)
        what = statement_file.AMENDMENT if AMENDMENT_NAME in files else statement_file.CERTIFICATE
        if what == statement_file.AMENDMENT and AMENDMENT_SIGNATURE_NAME not in files:
            _amendment_of_old(verdict, statement_file.parsed(files[AMENDMENT_NAME], "What it states"))
        else:
            stated, signature = (statement_file.parsed(files[name], "What it states") for name in CARRIED[what])
            _signed_snapshot(verdict, statement_file.put_together(stated, signature, what), keys, now)
    except statement_file.NoStatementFile as error:
        verdict.say(FAILS, str(error))
    except (KeyError, TypeError, ValueError):
        verdict.say(FAILS, "It does not carry what the office attaches to a certificate.")
    return dt.datetime.fromisoformat(verdict.document["issued_at"]) if verdict.document else None


def _amendment_of_old(verdict: Verdict, document: dict[str, Any]) -> None:
    """Before amendments had a signature of their own the PDF's alone covered what they state, as it does still."""
    if document["format"] != AMENDMENT_FORMAT:
        raise ValueError(document["format"])
    _name_amendment(verdict, document)


def issuer_of(key: PublishedKey, keys: PublishedKeys) -> PublishedKey | None:
    """The root whose signature the key's certificate bears."""
    certificate = x509.load_der_x509_certificate(key.certificate)
    for root in keys.roots():
        try:
            certificate.verify_directly_issued_by(x509.load_der_x509_certificate(root.certificate))
        except (ValueError, TypeError, InvalidSignature):
            continue
        return root
    return None


def _attached(content: bytes) -> dict[str, bytes]:
    """The files attached to a PDF, each once. Raises NoStatementFile."""
    logger = logging.getLogger("pypdf")
    former, logger.disabled = logger.disabled, True
    try:
        found = dict(pypdf.PdfReader(io.BytesIO(content)).attachments)
    except Exception as error:  # a file from outside may break the reader in any way
        raise statement_file.NoStatementFile("What is attached to it cannot be read.") from error
    finally:
        logger.disabled = former
    if any(len(one) != 1 for one in found.values()):
        raise statement_file.NoStatementFile("It carries what it states more than once.")
    return {name: one[0] for name, one in found.items()}


# ---- Parts ----


def _ed25519(key: PublishedKey) -> Ed25519PublicKey:
    public = load_der_public_key(key.public)
    if not isinstance(public, Ed25519PublicKey):
        raise TypeError("a statement key is an Ed25519 key")
    return public


def _unknown_key(identifier: str, keys: PublishedKeys, names: str) -> str:
    if names:
        return (
            f"It {names} and bears a key that {keys.office} never published: "
            "it is of another office, whose keys would be needed, or forged."
        )
    return (
        f"It is signed with a key ({identifier}) that is not among those that {keys.office} had published by "
        f"{instant(keys.as_of)}: it is forged, or the list of keys is older than the key."
    )


def _in_use(verdict: Verdict, key: PublishedKey, issued: dt.datetime, now: dt.datetime, *, clock: bool = True) -> None:
    """Signed by a key in its time of use, judged at the moment of issue; and what this machine's clock says to it."""
    if why := key.why_not_at(issued):
        verdict.say(FAILS, f"It says it was issued at {instant(issued)}, under a key {why}: do not rely on it.")
    if clock and issued > now + LEEWAY:
        verdict.say(
            UNKNOWN,
            f"It was issued at {instant(issued)}, which by this clock ({instant(now)}) is still to come: set the clock "
            "before anything is said of today.",
        )


def _at(document: Any, *path: str) -> Any:
    for part in path:
        document = document.get(part) if isinstance(document, dict) else None
    return document
