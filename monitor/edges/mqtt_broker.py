"""Where the broker is and how to sign in: `[mqtt]` of bench.toml, the password's variable, the certificate file.

Promise: a mistake is refused before anything starts, in one sentence without the password; nothing is connected to.
"""

from __future__ import annotations

import os
import ssl
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple
from urllib.parse import unquote, urlsplit

from monitor.errors import SettingsError
from monitor.terms import MqttTerms

PORTS = {"mqtt": 1883, "mqtts": 8883}  # IANA service names "mqtt" and "secure-mqtt"
_WANTED = 'wanted is a URL like "mqtts://bench@broker.lab:8883", without a password and without a path'


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the broker is and how to sign in. Without `tls` the connection is plain TCP."""

    host: str
    port: int
    tls: ssl.SSLContext | None = None
    user: str | None = None
    password: str | None = field(default=None, repr=False)

    @property
    def at(self) -> str:
        """Host and port for a sentence."""
        return f"{self.host}:{self.port}"


class Named(NamedTuple):
    """What a person wrote the three under, for sentences."""

    url: str = "[mqtt] url"
    password_env: str = "[mqtt] password_env"  # noqa: S105 - no password
    ca_file: str = "[mqtt] ca_file"


IN_FILE = Named()


def broker_of(terms: MqttTerms, environ: Mapping[str, str] = os.environ, named: Named = IN_FILE) -> Broker:
    """Work out a broker: reads the password's variable and the certificate file, connects to nothing.

    Raises:
        SettingsError: the URL, the variable or the certificate file is not as it must be.
    """
    try:
        url = urlsplit(terms.url)
        port = url.port
        (url.hostname or "").encode("idna")
    except ValueError:
        raise SettingsError(f"{named.url}: this is not a URL; {_WANTED}") from None
    if url.password is not None:
        rest = f"{_WANTED}, and {named.password_env} names its variable"
        raise SettingsError(f"{named.url}: found a password in it; {rest}")
    bare = url.path in ("", "/") and not url.query and not url.fragment
    if url.scheme not in PORTS or not url.hostname or port == 0 or not bare:
        hidden = "@" in url.path + url.query + url.fragment  # a password with such a sign in it, as like as not
        found = "a path or a question in it" if hidden else f"'{terms.url}'"
        raise SettingsError(f"{named.url}: found {found}, {_WANTED}")
    password = None
    if terms.password_env is not None:
        password = environ.get(terms.password_env)
        if not password:
            raise SettingsError(
                f"{named.password_env}: the environment variable {terms.password_env} is not set or empty; "
                "wanted is the broker's password in it"
            )
        if not url.username:
            raise SettingsError(f"{named.url}: found no user, but {named.password_env} is given; {_WANTED}")
    user = unquote(url.username) if url.username else None
    tls = _tls(url.scheme == "mqtts", terms.ca_file, named)
    return Broker(url.hostname, port or PORTS[url.scheme], tls, user, password)


def _tls(wanted: bool, ca_file: str | None, named: Named) -> ssl.SSLContext | None:
    if not wanted:
        if ca_file is not None:
            raise SettingsError(f"{named.ca_file}: found together with a url that is not mqtts://; wanted is either")
        return None
    try:
        return ssl.create_default_context(cafile=ca_file)
    except ssl.SSLError:
        reason = "it holds no certificate"
    except OSError as why:
        reason = why.strerror or "it holds no certificate"
    except ValueError:
        reason = "that is no path"  # it has a nought character in it
    raise SettingsError(
        f"{named.ca_file}: {ca_file!r} cannot be used: {reason}; wanted is a PEM file with the certificate of the "
        "authority that signed the broker's"
    )
