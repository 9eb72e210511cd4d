"""The text at an address that a person typed."""

from __future__ import annotations

import urllib.error
import urllib.request

from reefscan.base.errors import UnreadableError

_LONGEST = 64 << 20
_TIMEOUT_S = 20.0


class _SameServer(urllib.request.HTTPRedirectHandler):
    """A server may not send the reader on to another one, nor to a file of this machine."""

    def redirect_request(self, *_: object) -> None:
        return None


def fetch_text(address: str) -> str:
    """Return the text of a small file at an ``http`` or ``https`` address.

    Raises
    ------
    UnreadableError
        If it is another kind of address, the server does not give it, or it is no text.
    """
    if not address.lower().startswith(("http://", "https://")):
        raise UnreadableError("a mosaic is read from http and https only; name the files it is made of")
    try:
        with urllib.request.build_opener(_SameServer).open(address, timeout=_TIMEOUT_S) as answer:
            data: bytes = answer.read(_LONGEST + 1)
            if len(data) > _LONGEST:
                raise UnreadableError(
                    f"a mosaic of more than {_LONGEST >> 20} MB; name the files it is made of"
                )
            return data.decode("utf-8")
    except urllib.error.HTTPError as error:
        raise UnreadableError(f"HTTP response code: {error.code}") from error
    except (OSError, ValueError) as error:
        raise UnreadableError(f"it cannot be fetched ({error})") from error
