"""A certificate that this computer makes for itself, so that a phone is spoken to in secret."""

from __future__ import annotations

import ipaddress
import os
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from haltere.errors import UsageError

VALID = timedelta(days=2)
"""It is made anew at each start; a bench that stays open over a weekend trip still answers."""

CANT_ENCRYPT = (
    "--lan: what makes the connection secret is missing here, and without it a phone is not let "
    "in; bring it back with: pip install cryptography"
)


@dataclass(frozen=True, slots=True)
class Certificate:
    """A certificate and its key, as files.

    Attributes
    ----------
    chain, key : Path
        PEM files; the key may be read by its owner only.
    fingerprint : str
        SHA-256 of the certificate, in pairs, as browsers show it.
    """

    chain: Path
    key: Path
    fingerprint: str


def make_certificate(address: str, folder: Path) -> Certificate:
    """Make a certificate for one address of this computer, signed by itself.

    Parameters
    ----------
    address : str
        IP address that it speaks for.
    folder : Path
        Where its files go; whoever asked removes them.

    Raises
    ------
    UsageError
        When there is nothing here to make it with.
    """
    try:
        from cryptography import x509
        from cryptography.hazmat.primitives import hashes, serialization
        from cryptography.hazmat.primitives.asymmetric import ec
        from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
    except ImportError:
        raise UsageError(CANT_ENCRYPT) from None
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"haltere on {address}")])
    begins = datetime.now(UTC) - timedelta(hours=12)  # a phone's clock may be wrong
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(begins + VALID)
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(address))]), False
        )
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False)
        .sign(key, hashes.SHA256())
    )
    chain, secret = folder / "certificate.pem", folder / "key.pem"
    chain.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    held = os.open(secret, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(held, "wb") as file:
        file.write(
            key.private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
        )
    return Certificate(chain, secret, made.fingerprint(hashes.SHA256()).hex(":").upper())
