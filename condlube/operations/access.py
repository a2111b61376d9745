"""Who may open the review pages from elsewhere: names, roles and scrypt hashes in a file of its own."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
from base64 import b64decode, b64encode
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from condlube.errors import CondlubeError
from condlube.operations.definition import Definition

FILE_NAME = "access.json"
ROLES = ("reader", "analyst")
LEAST = 12
MOST = 1024
# RFC 7914 section 2 and common practice for interactive logins: 16 MiB and some 50 ms a guess.
_COST = {"n": 2**14, "r": 8, "p": 1}
_NOBODY = b"\0" * 16


@dataclass(frozen=True)
class User:
    """Somebody who may log in; a reader looks, an analyst also gives verdicts and records."""

    name: str
    role: str


class Access:
    """The users of a site. Without a file there is none, and the pages stay on this machine."""

    def __init__(self, users: Mapping[str, Mapping[str, str]]) -> None:
        self._users = users

    def __bool__(self) -> bool:
        return bool(self._users)

    @property
    def users(self) -> tuple[User, ...]:
        return tuple(User(name, held["role"]) for name, held in sorted(self._users.items()))

    @staticmethod
    def load(path: Path) -> Access:
        """Read the file. Raises ``CondlubeError`` when it is there and cannot be used: then nobody is let in."""
        try:
            content = json.loads(path.read_text(encoding="utf-8"))
            users = content["users"]
            for held in users.values():
                if held["role"] not in ROLES:
                    raise ValueError(held["role"])
                b64decode(held["salt"], validate=True), b64decode(held["hash"], validate=True)
        except FileNotFoundError:
            return Access({})
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            raise CondlubeError(f"{path}: not a file of users; set the users anew with `condlube access`") from error
        return Access(users)

    def check(self, name: str, password: str) -> User | None:
        """The user, when the password is theirs. An unknown name takes as long as a wrong password."""
        held = self._users.get(name)
        salt = b64decode(held["salt"]) if held else _NOBODY
        wanted = b64decode(held["hash"]) if held else _NOBODY
        right = hmac.compare_digest(_hash(password[:MOST], salt), wanted)
        return User(name, held["role"]) if held and right else None


def access_file(definition: Definition) -> Path:
    """Where a site's users are kept: beside the definition, never in it."""
    return definition.folder / FILE_NAME


def set_user(path: Path, name: str, password: str, role: str) -> None:
    """Add a user or give them another password or role. The file can be read by its owner alone."""
    if not name.strip() or name != name.strip() or len(name) > 80 or not name.isprintable():
        raise CondlubeError(f"name {name!r}: expected a name of up to 80 characters")
    if not LEAST <= len(password) <= MOST:
        raise CondlubeError(f"password: expected {LEAST} to {MOST} characters")
    if role not in ROLES:
        raise CondlubeError(f"role {role!r}: expected {' or '.join(ROLES)}")
    salt = os.urandom(16)
    row = {"role": role, "salt": b64encode(salt).decode(), "hash": b64encode(_hash(password, salt)).decode()}
    _write(path, {**Access.load(path)._users, name: row})


def remove_user(path: Path, name: str) -> None:
    """Take a user out. Raises ``CondlubeError`` when there is none of that name."""
    users = dict(Access.load(path)._users)
    if users.pop(name, None) is None:
        raise CondlubeError(f"no user {name!r}")
    _write(path, users)


def _write(path: Path, users: Mapping[str, Mapping[str, str]]) -> None:
    part = path.with_name(f".{path.name}.part")
    part.unlink(missing_ok=True)
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
        json.dump({"users": users}, file, indent=2, ensure_ascii=False)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)


def _hash(password: str, salt: bytes) -> bytes:
    return hashlib.scrypt(password.encode("utf-8", "surrogatepass"), salt=salt, dklen=32, **_COST)
