"""A certificate of the van's own, so that a phone on the van's hotspot reaches the screens over TLS without
any network beyond it.

The van is its own certificate authority, and a small one: it can vouch for private addresses and for one
drawn name under `.internal`, and for nothing else; a phone that trusts it and understands name constraints
(RFC 5280, section 4.2.1.10) refuses whatever else it were made to sign. Its key stands in the shop's `keys`
folder and nowhere else. From it comes the server's certificate, for ninety days, and made anew by itself.
"""

from __future__ import annotations

import contextlib
import ipaddress
import logging
import secrets
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

from ..errors import CorekitError
from ..files import write_once, write_over
from ..report.code import QUIET, symbol
from .passcode import owners_file

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec

log = logging.getLogger("corekit.screens")

#: Each file holds a private key and its certificate, so that never one is there without the other.
AUTHORITY_FILE, SERVER_FILE = "keys/van-ca.key", "keys/van.key"

AUTHORITY_LASTS, SERVER_LASTS, RENEW_BEFORE = timedelta(days=3653), timedelta(days=90), timedelta(days=30)
#: Clocks of phone and machine need not agree to the minute.
_CLOCKS_DIFFER = timedelta(days=1)

# Private use: RFC 1918; link-local: RFC 3927, RFC 4291; unique local: RFC 4193; this machine itself: RFC
# 1122, RFC 4291.
PRIVATE = tuple(
    map(
        ipaddress.ip_network,
        (
            "10.0.0.0/8",
            "172.16.0.0/12",
            "192.168.0.0/16",
            "169.254.0.0/16",
            "127.0.0.0/8",
            "fc00::/7",
            "fe80::/10",
            "::1/128",
        ),
    )
)
# `.internal` is kept free of public use by ICANN (resolution of July 2024, from memory).
_ENDING = "internal"


class PairingError(CorekitError, ValueError):
    """The van's certificate cannot be made or used; the message says why and what to do."""


def is_private(address: str) -> bool:
    """True for an address that can only be reached from beside it."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return False
    return any(parsed in net for net in PRIVATE if net.version == parsed.version)


def own_addresses() -> tuple[str, ...]:
    """The private IPv4 addresses of this machine, without its loopback ones; empty where it is
    in no network.
    """
    for source in (_interface_addresses, _route_addresses, _host_name_addresses):
        addresses = {
            address
            for address in source()
            if is_private(address) and not ipaddress.ip_address(address).is_loopback
        }
        if addresses:
            return tuple(
                sorted(
                    addresses,
                    key=lambda text: (ipaddress.ip_address(text).is_link_local, ipaddress.ip_address(text)),
                )
            )
    return ()


def _interface_addresses() -> Iterator[str]:
    """Of every interface; Linux only (SIOCGIFADDR of netdevice(7)).

    A hotspot's own address has no route that would show it.
    """
    with contextlib.suppress(OSError, ImportError, AttributeError):
        import fcntl

        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            for _, name in socket.if_nameindex():
                with contextlib.suppress(OSError):
                    yield socket.inet_ntoa(
                        fcntl.ioctl(probe.fileno(), 0x8915, name.encode()[:15].ljust(256, b"\0"))[20:24]
                    )


def _route_addresses() -> Iterator[str]:
    """Those from which something would go to a private net. Nothing is sent."""
    for beside in ("10.255.255.254", "172.31.255.254", "192.168.255.254"):
        with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect((beside, 9))
            yield str(probe.getsockname()[0])


def _host_name_addresses() -> Iterator[str]:
    """What the machine's own name leads to; last, because without a network that can take seconds."""
    with contextlib.suppress(OSError):
        yield from (
            str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        )


def has_pairing(shop: Path) -> bool:
    return (shop / AUTHORITY_FILE).exists()


def make_authority(shop: Path, now: datetime) -> None:
    """Draw the van's certificate authority. One that is there already stays.

    Raises:
        PairingError: the files cannot be written, or the clock of the machine is plainly wrong.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID

    if now.year < 2026:
        raise PairingError(
            f"This machine's clock says {now:%Y-%m-%d}, which is long gone; a certificate made now would be"
            " refused. Set the clock first."
        )
    random_id = "".join(secrets.choice("abcdefghkmnpqrstuvwxyz23456789") for _ in range(8))
    host = f"van-{random_id}.{_ENDING}"
    key = ec.generate_private_key(ec.SECP256R1())
    names = [x509.DNSName(host), *(x509.IPAddress(net) for net in PRIVATE)]
    subject = _common_name(f"corekit van-{random_id}")
    certificate = (
        _certificate_builder(subject, subject, key, now, AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_key_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted_subtrees=names, excluded_subtrees=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    path = shop / AUTHORITY_FILE
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_once(path, _pem(key, certificate))
    except FileExistsError:
        pass
    except OSError as error:
        raise PairingError(
            f"{path}: the van's certificate could not be written ({error.strerror or error}); nothing was"
            " changed."
        ) from error


def forget_authority(shop: Path) -> None:
    """Throw the van's authority and its certificate away.

    Phones that trust the old one keep trusting it, but nobody has its key any more.
    """
    for name in (SERVER_FILE, AUTHORITY_FILE):
        (shop / name).unlink(missing_ok=True)


@attrs.define
class VanCertificate:
    """The van's authority and the server's certificate, which it makes anew when it nears its end or when the
    machine has a new address.

    Safe to use from several threads.

    Attributes:
        shop: The shop's folder. page: What is answered in plain http, for the address that it came in at.
        now: This moment. addresses: The machine's private addresses at this moment.
    """

    shop: Path
    page: Callable[[str], bytes] = lambda address: (
        b"HTTP/1.1 403 Forbidden\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
    )
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    addresses: Callable[[], tuple[str, ...]] = own_addresses
    _key: ec.EllipticCurvePrivateKey = attrs.field(init=False, repr=False)
    authority: x509.Certificate = attrs.field(init=False, repr=False)
    _context: ssl.SSLContext | None = attrs.field(init=False, default=None, repr=False)
    _covered: frozenset[str] = attrs.field(init=False, default=frozenset(), repr=False)
    _until: datetime = attrs.field(init=False, default=datetime.min.replace(tzinfo=UTC), repr=False)
    _lock: threading.Lock = attrs.field(init=False, factory=threading.Lock, repr=False)

    def __attrs_post_init__(self) -> None:
        path = self.shop / AUTHORITY_FILE
        self._key, self.authority = _key_and_certificate(
            path, "the van has no certificate yet. Make it, and pair a phone: corekit work --pair"
        )

    @property
    def host(self) -> str:
        """The drawn name under `.internal`; it is good where a network's own name server knows it."""
        from cryptography import x509

        permitted = (
            self.authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees
            or []
        )
        return next(str(name.value) for name in permitted if isinstance(name, x509.DNSName))

    @property
    def title(self) -> str:
        """The name under which a phone lists the authority."""
        return f"corekit {self.host.removesuffix('.' + _ENDING)}"

    @property
    def der(self) -> bytes:
        """The authority's certificate as phones take it; there is nothing secret in it."""
        from cryptography.hazmat.primitives.serialization import Encoding

        return self.authority.public_bytes(Encoding.DER)

    @property
    def fingerprint(self) -> str:
        """SHA-256 over the certificate in pairs, eight to a line: the form in which phones and computers show
        it.
        """
        from cryptography.hazmat.primitives import hashes

        pairs = [f"{byte:02X}" for byte in self.authority.fingerprint(hashes.SHA256())]
        return "\n".join(" ".join(pairs[at : at + 8]) for at in range(0, len(pairs), 8))

    @property
    def clock_fault(self) -> str | None:
        """Why this machine's clock cannot be right, or cannot be used with the certificate; None when nothing
        speaks against it.
        """
        first, last = self.authority.not_valid_before_utc, self.authority.not_valid_after_utc
        now = self.now()
        if now < first:
            clocks = (
                f"{now:%Y-%m-%d %H:%M} UTC, and the van's certificate was made on"
                f" {first + _CLOCKS_DIFFER:%Y-%m-%d}"
            )
            return f"This machine's clock says {clocks}: set the clock, or phones refuse the certificate."
        if now > last:
            return (
                f"The van's certificate ended on {last:%Y-%m-%d} (this machine's clock says {now:%Y-%m-%d})."
                " Make a new one: corekit work --forget-pairing"
            )
        return None

    # What the server asks

    def context_for(self, address: str) -> ssl.SSLContext | None:
        """The certificate for a line that came in at `address`; None for an address that strangers could
        reach.
        """
        if not is_private(address):
            return None
        with self._lock:
            if self._context is None:
                self._use_existing()
            is_covered = self._context is not None and address in self._covered
            if not is_covered or self.now() > self._until - RENEW_BEFORE:
                try:
                    self._renew(address)
                except (OSError, PairingError) as error:
                    log.error("the van's certificate could not be renewed: %s", error)
                    return self._context if is_covered else None
            return self._context

    def plain(self, address: str) -> bytes:
        return self.page(address)

    def names(self) -> frozenset[str]:
        """Everything that a browser may have in its address line for this server: what the certificate covers
        by now.

        Each request comes over a line, and `context_for` has taken in the address of that line before.
        """
        with self._lock:
            return frozenset({self.host, *self._covered})

    def _use_existing(self) -> None:
        """Use the certificate that is there, if this authority made it and it is good today."""
        from cryptography import x509
        from cryptography.exceptions import InvalidSignature

        try:
            _, certificate = _key_and_certificate(self.shop / SERVER_FILE, "there is none yet")
            certificate.verify_directly_issued_by(self.authority)
        except (PairingError, InvalidSignature, ValueError, TypeError):
            return  # none, damaged, or of an authority that was forgotten: a new one is made
        if not certificate.not_valid_before_utc <= self.now() <= certificate.not_valid_after_utc:
            return
        san = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        self._until = certificate.not_valid_after_utc
        self._covered = frozenset(map(str, san.get_values_for_type(x509.IPAddress)))
        self._context = self._new_context()

    def _renew(self, address: str) -> None:
        from cryptography import x509
        from cryptography.hazmat.primitives import hashes
        from cryptography.hazmat.primitives.asymmetric import ec
        from cryptography.x509.oid import ExtendedKeyUsageOID

        key, now = ec.generate_private_key(ec.SECP256R1()), self.now()
        covered = frozenset({"127.0.0.1", address, *self.addresses()})
        lifetime = min(SERVER_LASTS, self.authority.not_valid_after_utc - now)
        names = [
            x509.DNSName(self.host),
            *(x509.IPAddress(ipaddress.ip_address(private)) for private in sorted(covered)),
        ]
        try:
            builder = _certificate_builder(
                _common_name(self.host), self.authority.subject, key, now, lifetime
            )
        except ValueError as error:
            raise PairingError(
                self.clock_fault or f"The van's certificate cannot be renewed ({error})."
            ) from error
        certificate = (
            builder.add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(_key_usage(signs_certificates=False), critical=True)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(x509.SubjectAlternativeName(names), critical=False)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key()), critical=False
            )
            .sign(self._key, hashes.SHA256())
        )
        write_over(self.shop / SERVER_FILE, _pem(key, certificate))
        self._covered, self._until = covered, certificate.not_valid_after_utc
        self._context = self._new_context()

    def _new_context(self) -> ssl.SSLContext:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(self.shop / SERVER_FILE)
        return context


def _common_name(common: str) -> x509.Name:
    from cryptography import x509

    return x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, common)])


def _certificate_builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime, lifetime: timedelta
) -> x509.CertificateBuilder:
    from cryptography import x509

    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
    )
    return builder.not_valid_before(now - _CLOCKS_DIFFER).not_valid_after(now + lifetime)


def _key_usage(*, signs_certificates: bool) -> x509.KeyUsage:
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _pem(key: ec.EllipticCurvePrivateKey, certificate: x509.Certificate) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    # Not enciphered: what would decipher it would have to lie beside it. The file is its owner's alone, as
    # the link key is.
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()) + certificate.public_bytes(
        Encoding.PEM
    )


def _key_and_certificate(path: Path, missing: str) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    data = owners_file(path, missing, PairingError)
    try:
        key, certificate = load_pem_private_key(data, None), x509.load_pem_x509_certificate(data)
    except (ValueError, TypeError) as error:
        raise PairingError(
            f"{path}: this is no key with its certificate. Bring it back from the backup, or: corekit work"
            " --forget-pairing"
        ) from error
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
        raise PairingError(
            f"{path}: key and certificate do not belong together. Bring it back from the backup, or: corekit"
            " work --forget-pairing"
        )
    return key, certificate


def terminal_code(link: str, *, coloured: bool) -> str:
    """The link as a QR Code symbol for a terminal, two modules to a character, with its white edge.

    Args:
        coloured: Black on white is said to the terminal, whatever its colours are. Without it dark modules
            are blank, which fits light letters on a dark ground; phones read the other kind less well.
    """
    rows = symbol(link).rows
    side = len(rows) + 2 * QUIET
    light_row = [False] * side
    modules = [
        *[light_row] * QUIET,
        *([False] * QUIET + list(row) + [False] * QUIET for row in rows),
        *[light_row] * (QUIET + side % 2),
    ]
    shapes = dict(
        zip(
            ((False, False), (True, False), (False, True), (True, True)),
            " ▀▄█" if coloured else "█▄▀ ",
            strict=True,
        )
    )
    before, after = ("\x1b[38;5;16;48;5;231m", "\x1b[0m") if coloured else ("", "")
    halves = zip(modules[::2], modules[1::2], strict=True)
    return "\n".join(
        before + "".join(shapes[pair] for pair in zip(upper, lower, strict=True)) + after
        for upper, lower in halves
    )
