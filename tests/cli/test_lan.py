"""``coupage run --lan``: what it opens, what it says, and what it keeps shut."""

from __future__ import annotations

import ipaddress
import os
import re
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from coupage.cli import lan


def answer(url: str, host: str) -> tuple[int, str]:
    request = urllib.request.Request(url, headers={"Host": host})
    try:
        with urllib.request.urlopen(request, timeout=5) as got:
            return got.status, got.read().decode()
    except urllib.error.HTTPError as refused:
        return refused.code, refused.read().decode()


def test_without_a_network_it_says_so_and_does_not_start(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(lan, "lan_addresses", list)
    assert not lan.open_to_lan(8177)
    assert "no network" in capsys.readouterr().err


def test_what_is_found_is_no_loopback() -> None:
    for address in lan.lan_addresses():
        assert not ipaddress.ip_address(address).is_loopback


def test_others_are_told_the_address_and_names_are_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lan, "lan_addresses", lambda: ["192.0.2.9", "198.51.100.4"])  # RFC 5737
    monkeypatch.setenv("COUPAGE_HOSTS", "coupage.example")
    monkeypatch.delenv("COUPAGE_LAN_URL", raising=False)
    assert lan.open_to_lan(8177)
    assert os.environ["COUPAGE_LAN_URL"] == "http://192.0.2.9:8177"
    names = os.environ["COUPAGE_HOSTS"].split()
    assert {"coupage.example", "192.0.2.9", "198.51.100.4"} <= set(names)
    # Put back what the function set for the whole process.
    monkeypatch.setenv("COUPAGE_LAN_URL", "")


@pytest.mark.skipif(not lan.lan_addresses(), reason="this machine is on no network")
def test_the_real_program_says_what_it_opens_and_this_machine_signs_in(tmp_path: Path) -> None:
    ours = ("COUPAGE_", "DJANGO_")
    environment = {k: v for k, v in os.environ.items() if not k.startswith(ours)}
    log = tmp_path / "log"
    with log.open("w") as output:
        process = subprocess.Popen(
            [sys.executable, "-m", "coupage", "run", "--lan"],
            env=environment | {"COUPAGE_DATA": str(tmp_path)},
            stdout=output,
            stderr=subprocess.STDOUT,
        )
    try:
        until = time.monotonic() + 60
        found = None
        while time.monotonic() < until and process.poll() is None and found is None:
            found = re.search(r"Phones join at\s+http://(\S+):(\d+)/join/", log.read_text())
            time.sleep(0.1)
        assert found is not None, log.read_text()
        for words in ("not encrypted", "signing in works on this", "Whoever listens in"):
            assert words in log.read_text()
        here, host = f"http://127.0.0.1:{found[2]}", f"{found[1]}:{found[2]}"
        for _ in range(100):
            try:
                status, page = answer(f"{here}/join/", host)
                break
            except OSError:
                time.sleep(0.1)
        assert status == 200
        assert "Join a table" in page
        assert answer(f"{here}/people/sign-in/", host)[0] == 200
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(20)
