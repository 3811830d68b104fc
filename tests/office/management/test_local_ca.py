"""The office's own authority: what it vouches for, what it may not, and that it is renewed without being made anew."""

from __future__ import annotations

import datetime as dt
import socket
import ssl
import stat
import threading

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError
from django.core.management import CommandError, call_command

from office.management import local_ca
from office.management.commands.serve import tls_of

NAMES = ("dock.office.example", "192.168.7.20")


@pytest.fixture
def kept(tmp_path, capsys):
    call_command("local_ca", "--name", *NAMES, "--directory", str(tmp_path / "ca"))
    return tmp_path / "ca", capsys.readouterr().out


def pem(path):
    return x509.load_pem_x509_certificates(path.read_bytes())


def verified(certificates, name):
    leaf, authority = certificates
    address = local_ca._address(name)
    subject = x509.IPAddress(address) if address else x509.DNSName(name)
    return PolicyBuilder().store(Store([authority])).build_server_verifier(subject).verify(leaf, [])


def test_what_is_made_and_said(kept):
    directory, said = kept
    leaf, authority = pem(directory / "server.pem")
    for file in ("ca.key", "server.key"):
        assert stat.S_IMODE((directory / file).stat().st_mode) == 0o600
        assert "PRIVATE KEY" in (directory / file).read_text()
    assert stat.S_IMODE(directory.stat().st_mode) == 0o700
    assert x509.load_der_x509_certificate((directory / "ca.cer").read_bytes()) == authority
    assert local_ca.certified_names(leaf) == [*NAMES, "localhost", "127.0.0.1"]
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc < dt.timedelta(days=398)
    assert authority.not_valid_after_utc - authority.not_valid_before_utc < dt.timedelta(days=5 * 366)
    for word in ("iPhone", "Android", "Windows", "macOS", "The risk", local_ca.fingerprint(authority), "--certificate"):
        assert word in said


def test_the_chain_is_good_for_its_names_only(kept):
    certificates = pem(kept[0] / "server.pem")
    for name in (*NAMES, "localhost", "127.0.0.1"):
        assert len(verified(certificates, name)) == 2
    with pytest.raises(VerificationError):
        verified(certificates, "elsewhere.example")


@pytest.mark.parametrize("name", ["bank.example", "10.0.0.1", "2001:db8::1"])
def test_whoever_holds_the_key_can_vouch_for_no_other_name(kept, name):
    """The check of the command is passed by, as a thief of the key would."""
    directory, _ = kept
    authority = local_ca.load_authority(directory)
    assert authority is not None
    with pytest.raises(local_ca.NotPossible, match="may not vouch"):
        local_ca.make_server_certificate(directory, authority, [name])

    class Thief(local_ca.Authority):
        names = [name]

    forged = local_ca.make_server_certificate(directory, Thief(authority.certificate, authority.key), [name])
    with pytest.raises(VerificationError):
        verified((forged, authority.certificate), name)


def test_it_signs_no_further_authority(kept):
    constraints = pem(kept[0] / "ca.pem")[0].extensions
    assert constraints.get_extension_for_class(x509.BasicConstraints).value.path_length == 0
    assert constraints.get_extension_for_class(x509.NameConstraints).critical


def test_a_second_call_renews_the_server_alone(kept, capsys):
    directory, _ = kept
    before = {file.name: file.read_bytes() for file in directory.iterdir()}
    call_command("local_ca", "--directory", str(directory))
    after = {file.name: file.read_bytes() for file in directory.iterdir()}
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {"server.key", "server.pem"}
    assert local_ca.certified_names(pem(directory / "server.pem")[0]) == [*NAMES, "localhost", "127.0.0.1"]
    assert "the authority is the same" in capsys.readouterr().out
    with pytest.raises(CommandError, match="may not vouch for other"):
        call_command("local_ca", "--name", "other.example", "--directory", str(directory))


@pytest.mark.parametrize("name", ["no spaces", "-a", "a..b", "*.example", "x" * 64, "bücher.example", "1.2.3.4/8"])
def test_what_is_no_name_is_refused(tmp_path, name):
    with pytest.raises(CommandError, match="expected a host name"):
        call_command("local_ca", f"--name={name}", "--directory", str(tmp_path / "ca"))
    assert not (tmp_path / "ca").exists()


def test_a_passphrase_locks_the_authority_alone(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("OFFICE_CA_PASSPHRASE", "neap tide at noon")
    call_command("local_ca", "--name", "a.example", "--directory", str(tmp_path))
    assert "ENCRYPTED" in (tmp_path / "ca.key").read_text()
    assert serialization.load_pem_private_key((tmp_path / "server.key").read_bytes(), None) is not None
    call_command("local_ca", "--directory", str(tmp_path))
    monkeypatch.setenv("OFFICE_CA_PASSPHRASE", "another")
    with pytest.raises(CommandError, match="passphrase"):
        call_command("local_ca", "--directory", str(tmp_path))


def test_a_client_that_trusts_it_is_answered_and_one_that_does_not_is_not(kept):
    directory, _ = kept
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(directory / "server.pem", directory / "server.key")
    assert spoken(server, ssl.create_default_context(cafile=directory / "ca.pem"), NAMES[0]) == b"ahoy"
    assert spoken(server, ssl.create_default_context(cafile=directory / "ca.pem"), "127.0.0.1") == b"ahoy"
    with pytest.raises(ssl.SSLCertVerificationError):
        spoken(server, ssl.create_default_context(cafile=directory / "ca.pem"), "bank.example")
    with pytest.raises(ssl.SSLCertVerificationError):
        spoken(server, ssl.create_default_context(), NAMES[0])


def spoken(server: ssl.SSLContext, client: ssl.SSLContext, name: str) -> bytes:
    """What the client hears from a server on this machine that it takes for `name`."""
    ours, theirs = socket.socketpair()

    def answer() -> None:
        with theirs:
            try:
                with server.wrap_socket(theirs, server_side=True) as speaking:
                    speaking.sendall(b"ahoy")
            except OSError:  # the client hung up: it says why
                pass

    speaker = threading.Thread(target=answer)
    speaker.start()
    try:
        with ours, client.wrap_socket(ours, server_hostname=name) as hearing:
            return hearing.recv(4)
    finally:
        ours.close()
        speaker.join()


def test_serve_looks_at_both_files_first(kept, tmp_path):
    directory, _ = kept
    certificate, key = directory / "server.pem", directory / "server.key"
    tls = tls_of(certificate, key)
    assert tls is not None
    assert tls.address(8443) == "https://dock.office.example:8443"
    for wrong, match in (
        ((certificate, None), "together"),
        ((certificate, directory / "ca.key"), "is not the key of"),
        ((certificate, tmp_path / "none"), "No such file"),
        ((key, key), "as PEM"),
        ((directory / "ca.pem", directory / "ca.key"), "names no host"),
    ):
        with pytest.raises(CommandError, match=match):
            tls_of(*wrong)
    assert tls_of(None, None) is None


def test_a_certificate_that_has_run_out_is_not_served(kept, monkeypatch):
    directory, _ = kept
    authority = local_ca.load_authority(directory)
    assert authority is not None
    monkeypatch.setattr(
        local_ca, "_now", lambda: dt.datetime.now(dt.UTC).replace(microsecond=0) - dt.timedelta(days=500)
    )
    local_ca.make_server_certificate(directory, authority, ["localhost"])
    with pytest.raises(CommandError, match="has run out"):
        tls_of(directory / "server.pem", directory / "server.key")
