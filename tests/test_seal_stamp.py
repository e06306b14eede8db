"""A time stamp of a seal, by an authority on this machine: OpenSSL's own (`openssl ts`)."""

from __future__ import annotations

import shutil
import subprocess
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from test_log_attacks import a_job
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.errors import BadInput, Damaged
from handsfree.seal import ShopKey, make_key, seal_job
from handsfree.seal.stamp import stamp_job, stamp_name, stamp_of

pytest.importorskip("rfc3161_client")
if shutil.which("openssl") is None:
    pytest.skip("openssl is not installed", allow_module_level=True)

CONFIG = """
[req]
distinguished_name = name
prompt = no
[name]
CN = A made-up time stamping authority
[root]
basicConstraints = critical, CA:true
keyUsage = critical, keyCertSign
[stamps]
basicConstraints = critical, CA:false
extendedKeyUsage = critical, timeStamping
keyUsage = critical, digitalSignature
[tsa]
default_tsa = mine
[mine]
serial = serial
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256, sha512
ess_cert_id_alg = sha256
"""


def openssl(folder: Path, *arguments: str) -> bytes:
    done = subprocess.run(["openssl", *arguments], cwd=folder, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of an authority with its root certificate."""
    folder = tmp_path_factory.mktemp("authority")
    (folder / "conf").write_text(CONFIG)
    (folder / "serial").write_text("01\n")
    for name, part in (("root", "root"), ("tsa", "stamps")):
        curve = ["-pkeyopt", "ec_paramgen_curve:P-256"]
        openssl(folder, "genpkey", "-algorithm", "EC", *curve, "-out", f"{name}.key")
        by = ["-CA", "root.pem", "-CAkey", "root.key"] if name == "tsa" else []
        asked = ["req", "-new", "-config", "conf", "-key", f"{name}.key", "-subj", f"/CN={name}"]
        openssl(folder, *asked, "-x509", "-days", "30", "-extensions", part, "-out", "own.pem")
        if not by:
            (folder / "own.pem").rename(folder / "root.pem")
            continue
        openssl(folder, *asked, "-out", "tsa.csr")
        signs = ["x509", "-req", "-in", "tsa.csr", "-days", "30", "-extfile", "conf"]
        openssl(folder, *signs, "-extensions", part, *by, "-CAcreateserial", "-out", "tsa.pem")
    return folder


@pytest.fixture
def address(authority: Path) -> Iterator[str]:
    """A server of that authority on this machine."""

    class Answers(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked = self.rfile.read(int(self.headers["Content-Length"]))
            (authority / "query").write_bytes(asked)
            how = ["-queryfile", "query", "-signer", "tsa.pem", "-inkey", "tsa.key"]
            openssl(authority, "ts", "-reply", "-config", "conf", *how, "-out", "answer")
            answer = (authority / "answer").read_bytes()
            self.send_response(200)
            self.send_header("Content-Length", str(len(answer)))
            self.end_headers()
            self.wfile.write(answer)

        def log_message(self, *_: object) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Answers) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.05,))
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}/"
        server.shutdown()
        thread.join()


@pytest.fixture
def key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ShopKey:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return make_key("Harbour Road Electrics", "copper kettle seven lanes")


def test_a_seal_is_stamped_and_openssl_agrees(
    key: ShopKey, authority: Path, address: str, tmp_path: Path
) -> None:
    job = a_job(tmp_path / "job", 4.98)
    seal = seal_job(job, key)
    assert stamp_of(job, seal, None) is None
    assert "nobody looked at" in str(stamp_job(job, seal, address))
    (authority / "line").write_bytes(seal.encode())
    ours = ["-in", str(job / stamp_name(seal)), "-data", "line", "-CAfile", "root.pem"]
    openssl(authority, "ts", "-verify", *ours)
    root = authority / "root.pem"
    checked = stamp_of(job, seal, root.read_bytes())
    assert checked
    assert checked.checked
    told = CliRunner().invoke(app, ["verify", str(job), "--authority", str(root)]).output
    assert "by the authority whose certificate was given" in told


def test_the_stamp_of_another_seal_and_a_changed_one_are_found(
    key: ShopKey, authority: Path, address: str, tmp_path: Path
) -> None:
    job, other = a_job(tmp_path / "job", 4.98), a_job(tmp_path / "other", 4.98)
    first, second = seal_job(job, key), seal_job(other, key)
    stamp_job(job, first, address)
    root = (authority / "root.pem").read_bytes()
    stamp = (job / stamp_name(first)).read_bytes()
    (other / stamp_name(second)).write_bytes(stamp)
    for certificates in (root, None):
        with pytest.raises(Damaged):
            stamp_of(other, second, certificates)
    (job / stamp_name(first)).write_bytes(stamp[:-1] + bytes([stamp[-1] ^ 1]))
    with pytest.raises(Damaged):
        stamp_of(job, first, root)


def test_nobody_who_answers_is_told_and_the_seal_stays(key: ShopKey, tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98)
    seal = seal_job(job, key)
    for address in ("http://127.0.0.1:9/", "ftp://127.0.0.1/", "file:///etc/passwd"):
        with pytest.raises(BadInput):
            stamp_job(job, seal, address)
    assert not (job / stamp_name(seal)).exists()
    assert (job / "seals.jsonl").exists()
