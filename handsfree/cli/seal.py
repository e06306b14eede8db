"""`handsfree seal`: the shop's key, and what it vouches for."""

from __future__ import annotations

import getpass
import os
import sys
from pathlib import Path
from typing import Annotated

import segno
import typer

from handsfree.cli.options import KeyFiles
from handsfree.cli.output import console
from handsfree.errors import BadInput, Damaged, Missing
from handsfree.log.folder import EVENTS, SEALS, read_file
from handsfree.seal import ShopKey, Trusted, file_status, make_key, seal_file, seal_job, unlock
from handsfree.seal.keys import load_public, seal_folder, shop_name, vouch
from handsfree.seal.ledger import Ledger
from handsfree.seal.ring import forget_passphrase, keep_passphrase, kept_passphrase
from handsfree.seal.stamp import stamp_job
from handsfree.seal.statement import LIMITS, key_id, read_seals, shown_key

#: For machines without a keyboard; else the passphrase is asked.
PASSPHRASE = "HANDSFREE_SEAL_PASSPHRASE"

_app = typer.Typer(
    help=f"Seal jobs and reports with the key of the shop.\n\n{LIMITS}",
    no_args_is_help=True,
    rich_markup_mode=None,
)
Stamped = Annotated[
    str | None,
    typer.Option("--stamp", help="Address of an RFC 3161 authority; the seal's hash goes there."),
]


def register(main: typer.Typer) -> None:
    """Add these commands."""
    main.add_typer(_app, name="seal")


@_app.command("init", epilog="Example: handsfree seal init --shop 'Harbour Road Electrics'")
def init(
    shop: Annotated[str, typer.Option("--shop", help="Its name, as customers know it.")],
    keyring: Annotated[
        bool, typer.Option("--keyring", help="The system's key ring remembers the passphrase.")
    ] = False,
) -> None:
    """Make the key of the shop, once; the passphrase is asked now and stands in no file."""
    if shop_name() is not None:
        raise BadInput("there is a key already", where=str(seal_folder()))
    phrase = _passphrase("Passphrase, 15 characters or more: ")
    if PASSPHRASE not in os.environ and _passphrase("The same again: ") != phrase:
        raise BadInput("that were two passphrases", remedy="Begin again.")
    key = make_key(shop, phrase)
    console.print(f"key of “{key.shop}”: {shown_key(key_id(key.public))}", markup=False)
    if keyring:
        _remember(key, phrase)
    console.print(f"{seal_folder()}: keep a copy of this folder where no job is. Without the")
    console.print("passphrase nobody seals any more; what is sealed stays so.")
    console.print("Give the public key away: handsfree seal key -o shop.pub, or --qr shop.svg")


@_app.command("keyring", epilog="Example: handsfree seal keyring")
def keyring_command(
    forgotten: Annotated[
        bool, typer.Option("--forget", help="It is asked again, from now on.")
    ] = False,
) -> None:
    """Let the system's key ring remember the passphrase, so that it is not asked each time."""
    if forgotten:
        forget_passphrase(load_public(_own_file()))
        console.print("the passphrase is asked from now on")
        return
    phrase = _passphrase("Passphrase of the shop's key: ")
    _remember(unlock(phrase), phrase)


@_app.command("sign", epilog="Example: handsfree seal sign jobs/van; handsfree seal sign van.pdf")
def sign(
    what: Annotated[Path, typer.Argument(help="A job folder, or a file made of a job.")],
    job: Annotated[
        Path | None, typer.Option("--job", help="Of that file; else the folder that it is in.")
    ] = None,
    stamp: Stamped = None,
) -> None:
    """Seal a job as it stands, or a report; the passphrase is asked."""
    if not what.is_dir():
        seal = seal_file(what, _job_of(what, job), unlocked())
        console.print(f"sealed: {what}.seal, number {seal.statement.number}", markup=False)
        return
    sealed(what, unlocked(), stamp)


@_app.command("stamp", epilog="Example: handsfree seal stamp jobs/van https://tsa.example/tsr")
def stamp_last(
    job: Annotated[Path, typer.Argument(help="The job folder.")],
    authority: Annotated[str, typer.Argument(metavar="URL", help="Of an RFC 3161 authority.")],
) -> None:
    """Have the last seal of a job stamped with the time; its hash goes to that address."""
    seals, _ = read_seals(read_file(job, SEALS) or b"")
    if not seals:
        raise BadInput("the job is not sealed", where=str(job))
    console.print(str(stamp_job(job, seals[-1], authority)))


@_app.command("check", epilog="Example: handsfree seal check van.pdf --key shop.pub")
def check_file(
    file: Annotated[Path, typer.Argument(help="A sealed file; FILE.seal lies beside it.")],
    job: Annotated[
        Path | None, typer.Option("--job", help="Is it of this job?  Else it is not asked.")
    ] = None,
    key: KeyFiles = None,
) -> None:
    """Tell whether a report is sealed, by whom and when; for a job there is `verify`."""
    status = file_status(file, job, Trusted.here(key or ()))
    if status.state == "changed" or (key and status.state == "not sealed"):
        raise Damaged(status.sentence, where=str(file), remedy="Do not rely on it.")
    for line in (status.sentence, *(f"note: {remark}" for remark in status.remarks)):
        console.print(line, markup=False)


@_app.command("key", epilog="Example: handsfree seal key -o shop.pub --qr shop.svg")
def show_key(
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="File for the public key, PEM.")
    ] = None,
    qr: Annotated[
        Path | None, typer.Option("--qr", help="The same as a picture, SVG or PNG.")
    ] = None,
) -> None:
    """Give the public key away: as a file, as a QR code with what stands in that file, or here."""
    pem = _own_file().read_bytes()
    if output is not None:
        _put(output, pem)
    if qr is not None:
        if qr.suffix.lower() not in (".svg", ".png"):
            raise BadInput("a QR code is written as SVG or PNG", where=str(qr))
        try:
            segno.make(pem.decode(), micro=False).save(str(qr), scale=4)
        except OSError as error:
            raise BadInput(f"it cannot be written: {error.strerror}", where=str(qr)) from error
    if output is None and qr is None:
        sys.stdout.write(pem.decode())


@_app.command("trust", epilog="Example: handsfree seal trust shop.pub")
def trust(
    file: Annotated[Path, typer.Argument(help="A public key, from the shop itself.")],
) -> None:
    """Keep the public key of another shop: its seals are known here from now on."""
    console.print(f"known from now on: {shown_key(vouch(file))}")


@_app.command("list", epilog="Example: handsfree seal list")
def list_seals() -> None:
    """List what was sealed on this machine; `verify` holds it against the job, too."""
    listed = Ledger(seal_folder()).read()
    for one in listed:
        told = one.seal.statement
        what = f"{told.state}, {told.events} events" if told.seals == "job" else "a file"
        console.print(f"{told.number:5}  {told.time}  {one.where}  {what}", markup=False)
    if not listed:
        console.print("nothing was sealed on this machine")


def sealed(job: Path, key: ShopKey, stamp: str | None = None) -> None:
    """Seal a job and say so."""
    seal = seal_job(job, key)
    told = seal.statement
    console.print(
        f"sealed: {job}, {told.events} events, {told.state}, number {told.number}", markup=False
    )
    if stamp is not None:
        console.print(str(stamp_job(job, seal, stamp)))


def unlocked() -> ShopKey:
    """The shop's key; its passphrase is asked where the environment does not hold it."""
    if shop_name() is None:
        return unlock("")  # says what to do
    kept = None if PASSPHRASE in os.environ else kept_passphrase(load_public(_own_file()))
    return unlock(kept or _passphrase("Passphrase of the shop's key: "))


def _remember(key: ShopKey, phrase: str) -> None:
    console.print(
        f"the passphrase is in the key ring: {keep_passphrase(key, phrase)}", markup=False
    )


def _passphrase(prompt: str) -> str:
    known = os.environ.get(PASSPHRASE)
    if known is not None:
        return known
    if not sys.stdin.isatty():
        raise Missing(
            "there is nobody to ask for the passphrase", remedy=f"Give it in {PASSPHRASE}."
        )
    return getpass.getpass(prompt)


def _own_file() -> Path:
    file = seal_folder() / "shop.pub"
    if not file.is_file():
        unlock("")
    return file


def _job_of(file: Path, job: Path | None) -> Path:
    if job is None and not (file.resolve().parent / EVENTS).is_file():
        raise BadInput(
            "of which job is this file?", where=str(file), remedy="Name its folder with --job."
        )
    return job or file.resolve().parent


def _put(output: Path, data: bytes) -> None:
    try:
        output.write_bytes(data)
    except OSError as error:
        raise BadInput(f"it cannot be written: {error.strerror}", where=str(output)) from error
