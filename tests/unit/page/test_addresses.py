"""Addresses on local networks: which are near, and which a phone most likely reaches."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from polarcheck.page.addresses import is_near, local_addresses


@pytest.mark.parametrize(
    "address",
    [
        "127.0.0.1",
        "10.1.2.3",  # RFC 1918, section 3, the three private blocks
        "172.16.0.1",
        "172.31.255.254",
        "192.168.43.1",
        "169.254.7.7",  # RFC 3927, link-local
        "100.64.0.1",  # RFC 6598, shared
    ],
)
def test_near_addresses(address: str) -> None:
    assert is_near(address)


@pytest.mark.parametrize(
    "address",
    [
        "8.8.8.8",
        "172.32.0.1",
        "172.15.255.255",
        "192.169.0.1",
        "0.0.0.0",
        "224.0.0.1",
        "240.0.0.1",
        "::1",
        "x",
        "",
    ],
)
def test_far_addresses(address: str) -> None:
    assert not is_near(address)


@dataclass
class FakeIp:
    ip: object


@dataclass
class FakeAdapter:
    nice_name: str
    ips: list[FakeIp]


def adapters(*named: tuple[str, *tuple[object, ...]]) -> list[FakeAdapter]:
    return [FakeAdapter(name, [FakeIp(ip) for ip in ips]) for name, *ips in named]


def test_the_likeliest_comes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    found = adapters(
        ("lo", "127.0.0.1"),
        ("docker0", "172.17.0.1"),
        ("eth1", "169.254.7.7"),
        ("wlan0", ("fe80::1", 0, 2), "192.168.1.20"),
        ("eth0", "93.184.216.34", "10.0.0.5"),
        ("Hyper-V Virtual Ethernet Adapter", "172.20.0.1"),
    )
    monkeypatch.setattr("polarcheck.page.addresses.ifaddr.get_adapters", lambda: found)
    assert local_addresses() == ["10.0.0.5", "192.168.1.20", "169.254.7.7", "172.17.0.1", "172.20.0.1"]


def test_no_network_is_no_address(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "polarcheck.page.addresses.ifaddr.get_adapters", lambda: adapters(("lo", "127.0.0.1"))
    )
    assert local_addresses() == []


def test_this_machine_is_looked_at_without_a_socket() -> None:
    """The tests close the network: were one opened, this would fail."""
    assert all(is_near(address) for address in local_addresses())
