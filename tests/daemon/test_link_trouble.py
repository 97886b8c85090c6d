"""What the link says, and how often, when the broker does not let it in; and how it gets in."""

from __future__ import annotations

import shutil
import socket
import struct
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client

from daemon import link as link_module
from daemon import wire
from daemon.secrets import Secret
from tests.daemon.brokers import Mosquitto, Reader, eventually, free_port
from tests.daemon.decisions import WALL, classroom, decision, raised
from tests.daemon.links import linked, recorder, short_waits

pytestmark = pytest.mark.process

PASSWORD = "correct-horse-7391"


@pytest.fixture(autouse=True)
def _short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    short_waits(monkeypatch)


def warnings(entries: list[dict[str, Any]]) -> list[str]:
    return [entry["event"] for entry in entries if entry["level"] != "info"]


def openssl(folder: Path, *arguments: str) -> None:
    assert shutil.which("openssl"), "this test needs the openssl command"
    subprocess.run(["openssl", *arguments], cwd=folder, check=True, capture_output=True)


def make_ca(folder: Path, name: str) -> Path:
    openssl(
        folder, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
        "-nodes", "-keyout", f"{name}.key", "-out", f"{name}.pem", "-days", "2",
        "-subj", f"/CN={name}", "-addext", "keyUsage=critical,keyCertSign,cRLSign",
    )  # fmt: skip
    return folder / f"{name}.pem"


def make_certificate(folder: Path, ca: str, name: str, subject: str) -> None:
    (folder / "ext").write_text(
        f"subjectAltName={subject}\nbasicConstraints=CA:FALSE\nauthorityKeyIdentifier=keyid\n"
    )
    openssl(
        folder, "req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
        "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", f"/CN={name}",
    )  # fmt: skip
    openssl(
        folder, "x509", "-req", "-in", f"{name}.csr", "-CA", f"{ca}.pem", "-CAkey", f"{ca}.key",
        "-CAcreateserial", "-days", "2", "-extfile", "ext", "-out", f"{name}.pem",
    )  # fmt: skip


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A site's CA with a broker and a guard under it, and another CA that signed none of them."""
    folder = tmp_path_factory.mktemp("keys")
    make_ca(folder, "ca")
    make_ca(folder, "other")
    make_certificate(folder, "ca", "broker", "IP:127.0.0.1,DNS:localhost")
    make_certificate(folder, "ca", "misnamed", "DNS:elsewhere.invalid")
    make_certificate(folder, "ca", "guard", "DNS:guard")
    return folder


def tls_lines(keys: Path, name: str = "broker") -> tuple[str, ...]:
    return (f"certfile {keys / name}.pem", f"keyfile {keys / name}.key")


def test_nobody_listens_is_said_once_and_tried_again(tmp_path: Path) -> None:
    """One line for many attempts; and when somebody listens, the link is there."""
    log, entries = recorder()
    port = free_port()
    broker = Mosquitto(tmp_path, port=port)
    with linked(port, log=log) as link:
        assert eventually(lambda: link._wire._attempts >= 5)
        assert warnings(entries) == [f"Nobody listens at 127.0.0.1:{port}."]
        assert link.status.last_error == warnings(entries)[0]
        with broker:
            assert eventually(lambda: link.status.connected)
            assert link.status.last_error == ""
        assert eventually(lambda: not link.status.connected)


def test_waits_grow_and_differ(monkeypatch: pytest.MonkeyPatch) -> None:
    """Back-off by doubling with something random on top: two guards do not call in step."""
    monkeypatch.setattr(wire, "SHORTEST_WAIT_S", 0.1)
    monkeypatch.setattr(wire, "LONGEST_WAIT_S", 0.4)
    monkeypatch.setattr(wire, "MOST_JITTER_S", 0.1)
    gaps: list[list[float]] = []
    for _ in range(2):
        with socket.create_server(("127.0.0.1", 0)) as listener:
            listener.settimeout(5.0)
            times = []
            with linked(listener.getsockname()[1]):
                for _ in range(5):
                    listener.accept()[0].close()
                    times.append(time.monotonic())
        gaps.append([after - before for before, after in pairwise(times)])
    for each in gaps:
        assert each[0] >= 0.09
        assert each[1] >= 0.19
        assert each[2] >= 0.39
        assert max(each) < 0.4 + 0.1 + 1.0  # a busy machine may add to it
    assert gaps[0] != gaps[1]


def test_a_wrong_password_is_said_once_without_the_password(tmp_path: Path) -> None:
    """The sentence says what to check; no line shows a secret; the right one gets in."""
    words = tmp_path / "words"
    words.touch(mode=0o600)
    subprocess.run(
        ["mosquitto_passwd", "-b", str(words), "guard", PASSWORD], check=True, capture_output=True
    )
    with Mosquitto(tmp_path, f"password_file {words}", "allow_anonymous false") as broker:
        log, entries = recorder()
        wrong = Secret("guard", "wrong-" + PASSWORD)
        with linked(broker.port, secret=wrong, log=log) as link:
            assert eventually(lambda: link._wire._attempts >= 5)
            assert not link.status.connected
        (line,) = warnings(entries)
        assert "refused this guard" in line
        assert "Check the user name and password" in line
        assert PASSWORD not in str(entries)
        with linked(broker.port, secret=Secret("guard", PASSWORD)) as link:
            assert eventually(lambda: link.status.connected)


def test_tls_with_the_sites_ca(tmp_path: Path, keys: Path) -> None:
    """The good path: the broker's certificate checked, and the guard's own one asked for."""
    lines = (*tls_lines(keys), f"cafile {keys / 'ca.pem'}", "require_certificate true")
    site = classroom(
        ca_file=str(keys / "ca.pem"),
        cert_file=str(keys / "guard.pem"),
        key_file=str(keys / "guard.key"),
    )
    with Mosquitto(tmp_path, *lines) as broker, linked(broker.port, site, tls=True) as link:
        assert eventually(lambda: link.status.connected), link.status


@pytest.mark.parametrize(
    ("ca", "certificate", "why"),
    [("other", "broker", "self-signed|local issuer"), ("ca", "misnamed", "mismatch|not valid")],
)
def test_a_certificate_that_does_not_fit_is_refused(
    tmp_path: Path, keys: Path, ca: str, certificate: str, why: str
) -> None:
    """Signed by another CA, or for another name: one line, and no connection ever."""
    log, entries = recorder()
    site = classroom(ca_file=str(keys / f"{ca}.pem"))
    with (
        Mosquitto(tmp_path, *tls_lines(keys, certificate)) as broker,
        linked(broker.port, site, tls=True, log=log) as link,
    ):
        assert eventually(lambda: link._wire._attempts >= 4)
        assert not link.status.connected
    (line,) = warnings(entries)
    assert "certificate" in line
    assert any(each in line for each in why.split("|")), line


def test_tls_to_a_broker_that_has_none(tmp_path: Path, keys: Path) -> None:
    """And the other way round: one line each, no connection."""
    site = classroom(ca_file=str(keys / "ca.pem"))
    for lines, tls in (((), True), (tls_lines(keys), False)):
        log, entries = recorder()
        with (
            Mosquitto(tmp_path, *lines) as broker,
            linked(broker.port, site, tls=tls, log=log) as link,
        ):
            assert eventually(lambda link=link: link._wire._attempts >= 3)
            assert not link.status.connected
        assert len(warnings(entries)) == 1, warnings(entries)


def test_a_missing_ca_file_is_said_once_and_looked_for_again(tmp_path: Path, keys: Path) -> None:
    """The guard starts without it; when the file is there, the link connects."""
    log, entries = recorder()
    late = tmp_path / "late.pem"
    site = classroom(ca_file=str(late))
    with (
        Mosquitto(tmp_path, *tls_lines(keys)) as broker,
        linked(broker.port, site, tls=True, log=log) as link,
    ):
        link.hand_over(decision(site, raised()), 1, WALL)
        assert eventually(lambda: warnings(entries))
        time.sleep(0.5)
        assert len(warnings(entries)) == 1
        assert "certificate files" in link.status.last_error
        assert link.status.alerts_waiting == 1
        shutil.copy(keys / "ca.pem", late)
        assert eventually(lambda: link.status.connected)


@contextmanager
def listening(answer: bytes) -> Iterator[tuple[int, list[float]]]:
    """A server that answers every connection with the same bytes; the times of connections."""
    calls: list[float] = []
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def serve() -> None:
            while True:
                try:
                    caller, _ = listener.accept()
                except OSError:
                    return
                calls.append(time.monotonic())
                with caller:
                    caller.settimeout(0.2)
                    try:
                        caller.recv(4096)
                        caller.sendall(answer)
                        caller.recv(4096)
                    except OSError:
                        continue  # the link hung up first; the next call is awaited

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        try:
            yield listener.getsockname()[1], calls
        finally:
            listener.shutdown(socket.SHUT_RDWR)
    thread.join(2.0)


CONNACK = bytes([0x20, 0x02, 0x00, 0x00])  # MQTT 3.1.1, 3.2
# a PUBLISH (3.3) whose topic is said to be longer than the packet
BROKEN_PUBLISH = bytes([0x30, 0x05]) + struct.pack("!H", 60000) + b"abc"


@pytest.mark.parametrize(
    "answer",
    [b"", b"HTTP/1.1 400 Bad Request\r\n\r\n", CONNACK + BROKEN_PUBLISH, CONNACK + b"\xff" * 40],
    ids=["nothing", "http", "broken publish", "noise"],
)
def test_a_server_that_speaks_nonsense_does_not_end_the_link(answer: bytes) -> None:
    """The link calls again and again, and says one line."""
    log, entries = recorder()
    with listening(answer) as (port, calls), linked(port, log=log) as link:
        assert eventually(lambda: len(calls) >= 3, 15.0)
        assert not link.status.connected
        assert 1 <= len(warnings(entries)) <= 2, warnings(entries)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_the_death_of_pahos_thread_is_noticed_and_made_good(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever it died of, alerts go out again within seconds, and it is said."""
    log, entries = recorder()
    site = classroom()
    with (
        Mosquitto(tmp_path) as broker,
        Reader(broker.port, "weirkeeper/#") as reader,
        linked(broker.port, log=log) as link,
    ):
        assert eventually(lambda: link.status.connected)
        real, doomed = Client._loop, link._wire._thread

        def dies(client: Client, timeout: float = 1.0) -> Any:
            if threading.current_thread() is doomed:
                raise MemoryError
            return real(client, timeout)

        monkeypatch.setattr(Client, "_loop", dies)
        assert doomed is not None
        assert eventually(lambda: not doomed.is_alive())
        assert eventually(lambda: warnings(entries))
        assert warnings(entries) == ["The thread of the broker link died; it was started again."]
        link.hand_over(decision(site, raised()), 1, WALL)
        assert eventually(lambda: reader.messages)
        assert eventually(lambda: link.status.connected)


def test_two_guards_of_one_name_do_not_flood_the_log(tmp_path: Path) -> None:
    """They throw each other out for ever; that is said, but not at every turn."""
    log, entries = recorder()
    with Mosquitto(tmp_path, "log_type all") as broker:
        with linked(broker.port, log=log), linked(broker.port, boot="boot-b"):
            time.sleep(2.0)
        connections = (tmp_path / "mosquitto.log").read_text().count("New client connected")
    assert connections > 5
    assert 1 <= len(warnings(entries)) <= 3, warnings(entries)
    assert len(entries) <= 5


def test_a_mistake_in_the_link_is_logged_once_and_survived(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An exception where none is expected costs one message, not the link."""
    log, entries = recorder()
    real = link_module.messages.event_message
    failing = [True, True]

    def fails_twice(*arguments: Any, **named: Any) -> Any:
        if failing:
            failing.pop()
            raise RuntimeError("unexpected")
        return real(*arguments, **named)

    monkeypatch.setattr(link_module.messages, "event_message", fails_twice)
    site = classroom()
    with (
        Mosquitto(tmp_path) as broker,
        Reader(broker.port, "weirkeeper/#") as reader,
        linked(broker.port, log=log) as link,
    ):
        for n in range(4):
            link.hand_over(decision(site, raised(n)), n, WALL)
        assert eventually(lambda: len(reader.messages) == 2)
    assert [entry["event"] for entry in entries].count("the broker link stumbled and goes on") == 1
