"""Whatever the schema allows, and much that it does not, is answered as the schema says and never with a fault of ours."""

from __future__ import annotations

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings

from prepcheck.web import api, readings
from tests import painted
from tests.web.shop import HOME, Phone, new_shop, open_page, plate_jpeg

pytestmark = pytest.mark.filterwarnings("ignore")  # the generator of requests warns of itself
schemathesis.checks.load_all_checks()
NAMED = ("not_a_server_error", "status_code_conformance", "content_type_conformance", "response_schema_conformance")
CHECKED = schemathesis.checks.CHECKS.get_by_names(NAMED)
HOST = HOME.removeprefix("http://")
ROUTES = [(method, route.path) for one in (api, readings) for route in one.router.routes for method in route.methods]
NOTHING_ASKED = [
    ("GET", "/api/session"),
    ("POST", "/api/sign-out"),
    ("POST", "/api/links"),
    ("GET", "/api/sessions"),
    ("GET", "/api/jobs"),
]
MODES = {"allowed": schemathesis.GenerationMode.POSITIVE, "not allowed": schemathesis.GenerationMode.NEGATIVE}


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """A page with one inspection, and its schema."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("prepcheck.web.looker.load_model", lambda: painted.model())
        folder = tmp_path_factory.mktemp("schema")
        new_shop(folder)
        with open_page(folder) as app:
            phone = Phone(app).pair()
            assert phone.sign_in().status_code == 200
            assert phone.inspect(plate_jpeg())["state"] == "done"
            running = without_lifespan(app)
            yield app, schemathesis.openapi.from_asgi("/api/openapi.json", running, headers={"Host": HOST})


def without_lifespan(app):
    """Return the running page; the generator of requests would start and stop it around each."""

    async def running(scope, receive, send):
        if scope["type"] == "lifespan":
            for what in ("startup", "shutdown"):
                await receive()
                await send({"type": f"lifespan.{what}.complete"})
        else:
            await app(scope, receive, send)

    return running


@pytest.mark.parametrize(
    ("method", "path", "mode"),
    [(*route, "allowed") for route in ROUTES]
    + [(*route, "not allowed") for route in ROUTES if route not in NOTHING_ASKED],
)
def test_every_request_is_answered_as_the_schema_says(page, method, path, mode):
    app, schema = page
    phone = Phone(app).pair()
    assert phone.sign_in().status_code == 200
    headers = {"Origin": HOME, "Host": HOST, "Cookie": f"prepcheck_session={phone.cookies['prepcheck_session']}"}

    @settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True, database=None)
    @given(schema[path][method].as_strategy(generation_mode=MODES[mode]))
    def ask(case):
        case.headers = {**(case.headers or {}), **headers}
        case.call_and_validate(checks=CHECKED)

    ask()
