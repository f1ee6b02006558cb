"""Which machine a name means: what leaves this one goes over encrypted, verified ways only."""

from ipaddress import ip_address


def is_this_machine(host: str) -> bool:
    """Whether a host's name or address surely is of this machine (its loopback)."""
    try:
        return ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.lower() == "localhost"
