"""The options that every command with a page has."""

from __future__ import annotations

import argparse


def for_whom(host: str | None) -> str:
    """Who can reach a page under that host, for a sentence."""
    if host is None:
        return "this machine only"
    return "others too, with the password; it and all that is shown cross the network unencrypted"


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 65535):
        raise argparse.ArgumentTypeError(f"found {text!r}, wanted the number of a port, 1 to 65535")
    return int(text)


def add_page(p: argparse.ArgumentParser) -> None:
    """Where the page is, and for whom."""
    p.add_argument(
        "--page-port", type=_port, help="the page's port on this machine (default: the first free from 8501)"
    )
    p.add_argument(
        "--page-host",
        metavar="NAME",
        help="let other machines reach the page under this name or address of this machine, with the password in "
        "SO2BENCH_PAGE_PASSWORD (default: this machine only)",
    )
