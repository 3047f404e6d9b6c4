"""The console as one ASGI application: pages, API and feeds around a `Facts`, behind one guard."""

from collections.abc import Iterable
from functools import partial

from fastapi import FastAPI, WebSocket
from starlette.middleware.gzip import GZipMiddleware

from console import problems
from console.alarm_api import AlarmApi
from console.alarm_pages import AlarmPages
from console.api import Api
from console.assets import Assets
from console.check_api import CheckApi
from console.check_pages import CheckPages
from console.chosen import Chosen, Feeds
from console.described import describe
from console.dip_api import DipApi
from console.dip_pages import DipPages
from console.document_api import DocumentApi
from console.document_pages import DocumentPages
from console.facts import Facts
from console.fault_api import FaultApi
from console.help_pages import HelpPages
from console.history_api import HistoryApi
from console.leak_api import LeakApi
from console.leak_pages import LeakPages
from console.live import Feed
from console.lookup import time_ms
from console.loop_pages import LoopPages
from console.model import Model
from console.pages import Pages
from console.receipt_api import ReceiptApi
from console.receipt_pages import ReceiptPages
from console.record_api import RecordApi
from console.report_api import ReportApi
from console.report_pages import ReportPages
from console.security import Guard, from_this_machine, refuse
from console.settings_pages import SettingsPages
from console.shares import Shares
from console.sign_in import SignedIn, SignInPages, WhoApi, address_of
from console.status_api import StatusApi
from console.status_pages import StatusPages
from console.steady import Steady
from console.stock_api import StockApi
from console.stock_pages import StockPages
from console.trend_api import TrendApi
from console.trend_pages import TrendPages
from console.vitals_api import VitalsApi
from console.water_api import WaterApi
from console.water_pages import WaterPages
from console.yard_pages import YardPages


def create_app(
    facts: Facts, *, allow_hosts: Iterable[str] = (), port: int | None = None, proxies: Iterable[str] = ()
) -> FastAPI:
    """The application. `allow_hosts`: names beside localhost that people use; `port`: as written behind them, None =
    any. `proxies`: addresses whose word for where a request comes from is believed."""
    assets = Assets()
    build = f"{facts.site.build}.{assets.version}"
    model = Model(facts)
    pages = Pages(facts, model, assets, build)
    page_feeds = Feeds(facts, build, model.parts)
    api = Api(facts, Feed(facts, build, lambda live: live))

    # The framework's own documentation pages load scripts from elsewhere: left out.
    app = FastAPI(
        title="gaugehouse",
        version=facts.site.build,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        redirect_slashes=False,
    )
    app.state.pages = pages
    problems.install(app)

    async def feed(socket: WebSocket) -> None:
        """What the pages listen to."""
        await page_feeds.serve(socket)

    settings = SettingsPages(facts, model, pages.render)
    signing = SignInPages(facts.people, pages.apart, tuple(proxies))
    for router in (
        api.router,
        AlarmApi(facts).router,
        RecordApi(facts).router,
        CheckApi(facts).router,
        LeakApi(facts).router,
        FaultApi(facts).router,
        ReceiptApi(facts).router,
        DipApi(facts).router,
        HistoryApi(facts).router,
        TrendApi(facts).router,
        DocumentApi(facts).router,
        StockApi(facts).router,
        ReportApi(facts).router,
        VitalsApi(facts).router,
        StatusApi(facts).router,
        WaterApi(facts).router,
        assets.router,
        pages.router,
        AlarmPages(facts, model, pages.render).router,
        DocumentPages(facts, model, pages.render).router,
        CheckPages(facts, model, pages.render).router,
        LeakPages(facts, model, pages.render).router,
        ReceiptPages(facts, model, pages.render).router,
        DipPages(facts, model, pages.render).router,
        LoopPages(facts, model, pages.render, pages.chart).router,
        StockPages(facts, model, pages.render).router,
        ReportPages(facts, model, pages.render).router,
        StatusPages(facts, model, pages.render).router,
        WaterPages(facts, model, pages.render).router,
        TrendPages(facts, pages.render, pages.chart).router,
        settings.router,
        settings.api,
        HelpPages(facts, pages.render).router,
        YardPages(facts, model, pages.render, build).router,
        signing.router,
        WhoApi().router,
    ):
        # As they are: each has its prefix and its defaults, and `include_router` would build every route once more.
        app.router.routes.extend(router.routes)
    app.add_api_websocket_route("/feed", feed)
    describe(app)
    app.add_middleware(Chosen)
    app.add_middleware(Steady, now=lambda: now_of(facts))
    # No page holds a secret that a compressed length could give away: a session is in a cookie only.
    app.add_middleware(GZipMiddleware, minimum_size=2000, compresslevel=5)
    app.add_middleware(Shares, address=partial(address_of, proxies=tuple(proxies)), local=from_this_machine)
    app.add_middleware(SignedIn, people=facts.people, refuse=refuse)
    app.add_middleware(Guard, allow_hosts=tuple(allow_hosts), port=port, has_users=facts.people.exists)
    return app


def now_of(facts: Facts) -> int | None:
    """The site's time in UTC ms; None before the first reading."""
    newest = facts.live()["time"]
    return None if newest is None else time_ms(newest)
