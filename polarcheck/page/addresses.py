"""Under which addresses of this machine a phone beside it finds the page. Nothing is sent to find them out."""

from __future__ import annotations

import re
from ipaddress import AddressValueError, IPv4Address

import ifaddr

__all__ = ["is_near", "local_addresses"]

_INSIDE = re.compile(
    r"docker|veth|virbr|vmnet|vbox|virtual|vethernet|hyper-v|bridge|br-|tun|tap|utun|wg|vpn|ppp|zt",
    re.IGNORECASE,
)
"""Names of interfaces that usually lead to no phone: of virtual machines and of tunnels (common practice)."""


def is_near(address: str) -> bool:
    """Whether an IPv4 address is of this machine, of a private network or of a cable without one.

    Parameters
    ----------
    address : str
        For example ``192.168.1.7``. Loopback (127/8), the private blocks of RFC 1918, link-local addresses of RFC
        3927 and the shared ones of RFC 6598 are near; those of the open internet are not.

    Returns
    -------
    bool
    """
    try:
        known = IPv4Address(address)
    except AddressValueError:
        return False
    return not (known.is_global or known.is_multicast or known.is_unspecified or known.is_reserved)


def local_addresses() -> list[str]:
    """Return this machine's IPv4 addresses on local networks, the likeliest for a phone first.

    The system is asked for its interfaces; no packet is sent.

    Returns
    -------
    list of str
        Without loopback. Private ones come first, then those of cables without a network (169.254/16) and of
        tunnels and virtual machines. Empty where the machine is on no network.
    """
    found = {
        ip.ip: (bool(_INSIDE.search(adapter.nice_name)), IPv4Address(ip.ip).is_link_local)
        for adapter in ifaddr.get_adapters()
        for ip in adapter.ips
        if isinstance(ip.ip, str) and is_near(ip.ip) and not IPv4Address(ip.ip).is_loopback
    }
    return sorted(found, key=lambda address: (found[address], IPv4Address(address)))
