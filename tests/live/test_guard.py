"""Who may see the page: RFC 6455 10.2 for origins; names and tokens as the module says."""

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocket, WebSocketDisconnect

from sniff.live.guard import COOKIE, Doors, Guard

LIVE = "ws://127.0.0.1:8000/live"


async def _answer(_: object) -> PlainTextResponse:
    return PlainTextResponse("the board")


async def _talk(socket: WebSocket) -> None:
    await socket.accept()
    await socket.send_text("hello")
    await socket.close()


def _client(doors: Doors, *, address: str, host: str) -> TestClient:
    inner = Starlette(
        routes=[Route("/", _answer, methods=["GET", "POST"]), WebSocketRoute("/live", _talk)]
    )
    return TestClient(
        Guard(inner, doors=doors),
        base_url=f"http://{host}",
        client=(address, 50_000),
        follow_redirects=False,
    )


@pytest.fixture
def doors() -> Doors:
    return Doors(port=8000, shared_host="192.168.7.20")


def test_this_computer_sees_it_and_gets_a_strict_policy(doors: Doors) -> None:
    answer = _client(doors, address="127.0.0.1", host="127.0.0.1:8000").get("/")
    assert answer.text == "the board"
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


@pytest.mark.parametrize(
    "host", ["evil.example:8000", "127.0.0.1:9", "127.0.0.1", "192.168.7.21:8000"]
)
def test_another_name_is_refused(doors: Doors, host: str) -> None:
    """A name elsewhere that was made to point here (DNS rebinding) is of its own origin."""
    assert _client(doors, address="127.0.0.1", host=host).get("/").status_code == 421


@pytest.mark.parametrize("origin", [None, "http://evil.example", "https://127.0.0.1:8000", "null"])
def test_another_origin_may_neither_talk_nor_post(doors: Doors, origin: str | None) -> None:
    client = _client(doors, address="127.0.0.1", host="127.0.0.1:8000")
    headers = {} if origin is None else {"origin": origin}
    assert client.post("/", headers=headers).status_code == 403
    with pytest.raises(WebSocketDisconnect), client.websocket_connect(LIVE, headers=headers):
        pass


def test_the_own_origin_may_talk(doors: Doors) -> None:
    client = _client(doors, address="127.0.0.1", host="127.0.0.1:8000")
    headers = {"origin": "http://127.0.0.1:8000"}
    with client.websocket_connect(LIVE, headers=headers) as socket:
        assert socket.receive_text() == "hello"


def test_a_phone_needs_a_link_and_the_link_works_once(doors: Doors) -> None:
    link = doors.invite()
    assert link is not None
    phone = _client(doors, address="192.168.7.44", host="192.168.7.20:8000")
    assert phone.get("/").status_code == 403
    first = phone.get(link)
    assert first.status_code == 303
    assert "HttpOnly" in first.headers["set-cookie"]
    assert phone.get("/").text == "the board"
    other = _client(doors, address="192.168.7.45", host="192.168.7.20:8000")
    assert other.get(link).status_code == 403
    assert other.get("/", headers={"cookie": f"{COOKIE}=guess"}).status_code == 403


def test_a_new_link_makes_the_old_one_void(doors: Doors) -> None:
    old = doors.invite()
    doors.invite()
    assert old is not None
    assert (
        _client(doors, address="192.168.7.44", host="192.168.7.20:8000").get(old).status_code == 403
    )


def test_without_sharing_no_other_device_comes_in() -> None:
    doors = Doors(port=8000, shared_host=None)
    assert doors.invite() is None
    assert _client(doors, address="192.168.7.44", host="127.0.0.1:8000").get("/").status_code == 403
