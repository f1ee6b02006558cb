"""The server's side: one transaction that makes the tables and takes the rows, or nothing.

A row is known by its id, so that sending the same log again, or the logs of two machines that
were merged, changes nothing twice. Where two logs disagree on an entry the later judgement
stands.
"""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import astuple, dataclass, fields
from typing import Any
from urllib.parse import SplitResult, parse_qs, unquote, urlsplit

from handsfree.errors import HandsfreeError
from handsfree.hosts import is_this_machine
from handsfree.practice.rows import CONFIRMED, PracticeRow
from handsfree.practice.schema import BEGIN, MIGRATIONS

ANSWERS_WITHIN_S = 10
"""How long the server, or another sender's transaction, is waited for, in seconds. No source."""

_LOCK = 0x48664C67
"""The key under which senders take turns (the log's own mark); any number would do."""

MISSING = "the practice's store needs the package psycopg: pip install 'handsfree[practice]'"

_COLUMNS = tuple(field.name for field in fields(PracticeRow))

_INCOMING = f"""CREATE TEMP TABLE incoming (
    {", ".join(f"{name} {'jsonb' if name == 'body' else 'text'}" for name in _COLUMNS)}
) ON COMMIT DROP"""

# DISTINCT ON: each horse and visit stands in many rows.
_HORSES = """INSERT INTO handsfree.horses AS t (id, name, kind)
SELECT DISTINCT ON (horse_id) horse_id, horse, horse_kind FROM incoming
WHERE horse_id IS NOT NULL ORDER BY horse_id
ON CONFLICT (id) DO UPDATE SET name = excluded.name, kind = coalesce(excluded.kind, t.kind)
WHERE (t.name, t.kind) IS DISTINCT FROM (excluded.name, coalesce(excluded.kind, t.kind))"""

_VISITS = """INSERT INTO handsfree.visits AS t (id, horse_id, started_at)
SELECT DISTINCT ON (visit_id) visit_id, horse_id, visit_started::timestamptz FROM incoming
ORDER BY visit_id
ON CONFLICT (id) DO UPDATE SET horse_id = excluded.horse_id
WHERE excluded.horse_id IS NOT NULL AND t.horse_id IS DISTINCT FROM excluded.horse_id"""

# An entry never changes but for its status.
_ENTRIES = """INSERT INTO handsfree.entries AS t
    (id, visit_id, utterance_id, limb, kind, body, heard, said_at, replaces,
     status, status_at, status_by)
SELECT i.entry_id, i.visit_id, i.utterance_id, i.limb, i.kind, i.body, i.heard,
    i.said_at::timestamptz, i.replaces, i.status, i.status_at::timestamptz, i.status_by
FROM incoming AS i
ON CONFLICT (id) DO UPDATE
SET status = excluded.status, status_at = excluded.status_at, status_by = excluded.status_by
WHERE excluded.status_at >= t.status_at AND t.status <> excluded.status
RETURNING (xmax = 0) AS added, status"""


class PracticeError(HandsfreeError):
    """The practice's store cannot be used; the line says why."""


@dataclass(frozen=True)
class Sent:
    """What one push did.

    `confirmed` entries the log holds; of them `added` were not in the store yet. `withdrawn`
    were in it as confirmed and are struck or corrected now, `again` are confirmed once more.
    The rest was there already.
    """

    confirmed: int
    added: int
    withdrawn: int
    again: int


def place(url: str) -> str:
    """The address without the name and password in it, for the screen."""
    parts = _parts(url)
    asked = parse_qs(parts.query).get("host", [""])[-1]
    return (parts.netloc.rpartition("@")[2] or asked or "this machine") + parts.path


def _parts(url: str) -> SplitResult:
    try:
        parts = urlsplit(url)
    except ValueError:
        parts = SplitResult("", "", "", "", "")
    if parts.scheme not in ("postgresql", "postgres"):
        raise PracticeError("the address of the practice's store begins with postgresql://")
    return parts


def passwords(url: str) -> list[str]:
    """The passwords in an address, as they are written and as they are meant."""
    parts = _parts(url)
    written = [parts.netloc.rpartition("@")[0].partition(":")[2]]
    query = parse_qs(parts.query)
    written += [each for key in ("password", "sslpassword") for each in query.get(key, ())]
    return [form for each in written if each for form in (each, unquote(each))]


def push(url: str, rows: Iterable[PracticeRow]) -> Sent:
    """Send rows to the store at `url` (postgresql://…), making its tables where needed.

    To another machine only over TLS with a certificate that is verified. All or nothing. Raises
    PracticeError, one line without the password, where psycopg or the server is missing, is not
    the one it should be, refuses, or has tables of a newer version.
    """
    with _connected(url) as connection:
        _prepare(connection, place(url))
        return _take(connection, rows)


def deletion(
    horses: Sequence[str], visits: Sequence[str] = (), utterances: Sequence[str] = ()
) -> list[str]:
    """The SQL that deletes horses, by their ids, with all that was sent of them.

    `visits` and `utterances` are deleted with them whoever the store thinks they are of.
    """
    of_horse = f"horse_id IN ({_quoted(horses)})"
    these = of_horse + (f" OR id IN ({_quoted(visits)})" if visits else "")
    said = f" OR utterance_id IN ({_quoted(utterances)})" if utterances else ""
    within = f"visit_id IN (SELECT id FROM handsfree.visits WHERE {these})"
    return [
        f"DELETE FROM handsfree.entries WHERE {within}{said};",
        f"DELETE FROM handsfree.visits WHERE {these};",
        f"DELETE FROM handsfree.horses WHERE id IN ({_quoted(horses)});",
    ]


def _quoted(ids: Sequence[str]) -> str:
    return ", ".join("'" + each.replace("'", "''") + "'" for each in ids)


def erase(url: str, statements: Sequence[str]) -> int:
    """Run a `deletion` in the store at `url`, all or nothing; returns how many rows went.

    Raises PracticeError as `push` does.
    """
    with _connected(url) as connection:
        there = connection.execute("SELECT to_regclass('handsfree.entries')").fetchone()[0]
        return sum(connection.execute(each).rowcount for each in statements if there)


@contextmanager
def _connected(url: str) -> Iterator[Any]:
    """One transaction with the store. Raises PracticeError, one line without the password."""
    shown, secrets = place(url), passwords(url)
    try:
        import psycopg
    except ImportError:
        raise PracticeError(MISSING) from None
    with _told(psycopg, f"practice {shown}: cannot be reached", secrets):
        connection = psycopg.connect(
            url,
            connect_timeout=ANSWERS_WITHIN_S,
            application_name="handsfree",
            **_over_tls(psycopg, url, shown),
        )
    with _told(psycopg, f"practice {shown}: refused", secrets), connection:
        # One transaction: leaving the block well ends it, an error takes all of it back.
        yield connection


def _over_tls(psycopg: Any, url: str, shown: str) -> dict[str, Any]:
    """What makes the connection verified TLS; nothing where the server is on this machine."""
    # Environment and service files may name a server too (libpq's own defaults).
    usual = {
        each.keyword.decode(): each.val.decode()
        for each in psycopg.pq.Conninfo.get_defaults()
        if each.val
    }
    said = psycopg.conninfo.conninfo_to_dict(url)
    named = usual | said
    hosts = [h for key in ("host", "hostaddr") for h in str(named.get(key, "")).split(",") if h]
    if "service" not in named and all(h[0] in "/@" or is_this_machine(h) for h in hosts):
        return {}
    if said.get("sslmode", "verify-full") != "verify-full":
        raise PracticeError(
            f"practice {shown}: is another machine, to which only verified TLS is used; leave "
            "sslmode out, or say sslmode=verify-full"
        )
    return {"sslmode": "verify-full", "gssencmode": "disable"}


@contextmanager
def _told(psycopg: Any, what: str, secrets: list[str]) -> Iterator[None]:
    try:
        yield
    except psycopg.errors.LockNotAvailable:
        raise PracticeError(f"{what}: somebody else is sending; try again") from None
    except psycopg.Error as error:
        lines = [line.strip() for line in str(error).splitlines() if line.strip()]
        line = lines[0] if lines else type(error).__name__
        for secret in secrets:
            line = line.replace(secret, "***")
        raise PracticeError(f"{what}: {line}") from None


def _prepare(connection: Any, shown: str) -> None:
    """Bring the store to the newest version, alone among all senders."""
    connection.execute(f"SET LOCAL lock_timeout = '{ANSWERS_WITHIN_S}s'")
    connection.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])
    # Somebody who may only fill the tables need not be allowed to make a schema.
    there = connection.execute("SELECT to_regclass('handsfree.version')").fetchone()[0]
    if there is None:
        connection.execute(BEGIN)
    found = connection.execute("SELECT coalesce(max(number), 0) FROM handsfree.version")
    at = int(found.fetchone()[0])
    if at > len(MIGRATIONS):
        raise PracticeError(
            f"practice {shown}: was filled by a newer version of this program (format {at}, this "
            f"one knows {len(MIGRATIONS)}); update the program"
        )
    for number, ddl in enumerate(MIGRATIONS[at:], at + 1):
        connection.execute(ddl)
        connection.execute("INSERT INTO handsfree.version (number) VALUES (%s)", [number])


def _take(connection: Any, rows: Iterable[PracticeRow]) -> Sent:
    confirmed = 0
    connection.execute(_INCOMING)
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY incoming ({', '.join(_COLUMNS)}) FROM STDIN") as copy,
    ):
        for row in rows:
            confirmed += row.status == CONFIRMED
            copy.write_row(astuple(row))
    # What was taken back before it was ever sent is nobody's business.
    connection.execute(
        "DELETE FROM incoming AS i WHERE status <> %s AND NOT EXISTS "
        "(SELECT 1 FROM handsfree.entries AS e WHERE e.id = i.entry_id)",
        [CONFIRMED],
    )
    connection.execute(_HORSES)
    connection.execute(_VISITS)
    changed = connection.execute(_ENTRIES).fetchall()
    return Sent(
        confirmed,
        sum(1 for added, _ in changed if added),
        sum(1 for added, status in changed if not added and status != CONFIRMED),
        sum(1 for added, status in changed if not added and status == CONFIRMED),
    )
