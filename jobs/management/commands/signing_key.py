"""signing_key add|token|demo|list|try|retire: the key that an organisation signs its packets with."""

from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs import moment
from jobs.errors import DomainError
from jobs.models import Organisation, SigningIdentity, unscoped
from jobs.services import signing_keys


class Command(BaseCommand):
    """Keys lie in WM_SIGNING_DIR or in a token; pass phrases and PINs in files of WM_SIGNING_SECRETS_DIR."""

    help = "Puts a signing key in use, lists keys, or retires the one in use. No key or secret is stored."

    def add_arguments(self, parser: CommandParser) -> None:
        steps = parser.add_subparsers(dest="step", required=True)
        add = steps.add_parser("add", help="a PKCS#12 file that lies in WM_SIGNING_DIR")
        add.add_argument("organisation")
        add.add_argument("file", help="its name in WM_SIGNING_DIR")
        add.add_argument("--secret", default="", help="name of the file with its pass phrase")
        token = steps.add_parser("token", help="a key in a PKCS#11 token (WM_PKCS11_MODULE)")
        token.add_argument("organisation")
        token.add_argument("reference", metavar="TOKEN/KEY", help="token label / key label")
        token.add_argument("--secret", required=True, help="name of the file with the PIN")
        token.add_argument(
            "--certificate", required=True, type=Path, help="PEM file: the key's certificate, then its chain"
        )
        demo = steps.add_parser("demo", help="makes a demonstration key; not in production")
        demo.add_argument("organisation")
        listed = steps.add_parser("list", help="every key, retired ones too")
        listed.add_argument("organisation", nargs="?", default="")
        trial = steps.add_parser("try", help="signs something with the key in use, to see that it answers")
        trial.add_argument("organisation")
        retire = steps.add_parser("retire", help="takes the key out of use")
        retire.add_argument("organisation")
        retire.add_argument("--reason", required=True)

    def handle(self, *args: Any, **options: Any) -> None:
        steps = {
            "add": self._add, "token": self._token, "demo": self._demo, "list": self._list,
            "retire": self._retire, "try": self._try,
        }  # fmt: skip
        try:
            steps[options["step"]](options)
        except DomainError as error:
            raise CommandError(f"{error.message} [{error.code}]") from error

    def _add(self, options: dict[str, Any]) -> None:
        self._tell(
            signing_keys.add_key_file(
                organisation=_organisation(options["organisation"]),
                reference=options["file"],
                secret=options["secret"],
                as_of=moment.now(),
            )
        )

    def _token(self, options: dict[str, Any]) -> None:
        try:
            found = x509.load_pem_x509_certificates(options["certificate"].read_bytes())
        except (OSError, ValueError) as error:
            raise CommandError(f"{options['certificate']} cannot be read: {error}") from error
        first, *others = (one.public_bytes(Encoding.DER) for one in found)
        self._tell(
            signing_keys.name_token_key(
                organisation=_organisation(options["organisation"]),
                reference=options["reference"],
                secret=options["secret"],
                certificate=first,
                chain=tuple(others),
                as_of=moment.now(),
            )
        )

    def _demo(self, options: dict[str, Any]) -> None:
        organisation = _organisation(options["organisation"])
        self._tell(signing_keys.make_demo_key(organisation=organisation, as_of=moment.now()))

    def _retire(self, options: dict[str, Any]) -> None:
        organisation = _organisation(options["organisation"])
        self._tell(
            signing_keys.retire_key(organisation=organisation, reason=options["reason"], as_of=moment.now())
        )

    def _try(self, options: dict[str, Any]) -> None:
        row = signing_keys.try_key(organisation=_organisation(options["organisation"]))
        self.stdout.write(f"{row} signs.")

    def _list(self, options: dict[str, Any]) -> None:
        with unscoped():
            rows = SigningIdentity.objects.select_related("organisation").order_by(
                "organisation__name", "since"
            )
            if options["organisation"]:
                rows = rows.filter(organisation=_organisation(options["organisation"]))
            for row in rows:
                self._tell(row)

    def _tell(self, row: SigningIdentity) -> None:
        certificate = x509.load_der_x509_certificate(bytes(row.certificate))
        state = f"retired {row.retired_at:%Y-%m-%d}" if row.retired_at else "in use"
        demo = ", DEMONSTRATION" if row.is_demo else ""
        self.stdout.write(f"{row.organisation.name}: {row}, {state}, begun {row.since:%Y-%m-%d}{demo}")
        self.stdout.write(f"  {certificate.subject.rfc4514_string()}")
        self.stdout.write(f"  key SHA-256 {row.key_sha256}")
        self.stdout.write(f"  certificate valid until {certificate.not_valid_after_utc:%Y-%m-%d}")


def _organisation(name: str) -> Organisation:
    """By name or id; exactly one."""
    rows = list(Organisation.objects.filter(name=name)[:2])
    if not rows:
        rows = [row for row in Organisation.objects.all() if str(row.pk) == name]
    if len(rows) != 1:
        raise CommandError(f"{name} is no organisation, or more than one.")
    return rows[0]
