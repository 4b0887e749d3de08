"""Addresses of the pages."""

from __future__ import annotations

from datetime import date

from django.urls import path, register_converter

from crossfall_app.web.views import (
    board,
    books,
    cards,
    contracts,
    door,
    gravel,
    hauls,
    imports,
    inspect,
    leave,
    ledger,
    limits,
    moisture,
    morning,
    open311,
    people,
    plan,
    requests_in,
    roads,
    settings,
    years,
)


class DayConverter:
    """A civil date in an address: ``2026-05-04``."""

    regex = "[0-9]{4}-[0-9]{2}-[0-9]{2}"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(value)

    def to_url(self, value: date | str) -> str:
        return value if isinstance(value, str) else value.isoformat()


class KindConverter:
    """How Open311 answers: ``json`` or ``xml``."""

    regex = "json|xml"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


register_converter(DayConverter, "day")
register_converter(KindConverter, "kind311")

urlpatterns = [
    path("", morning.sheet, name="morning"),
    path("door/", door.door, name="door"),
    path("enter/<str:secret>/", door.enter, name="enter"),
    path("leave/", door.leave, name="leave"),
    path("account/", people.account, name="account"),
    path("account/browsers/<int:number>/end/", people.end_own_session, name="session-end"),
    path("people/", people.accounts, name="people"),
    path("people/invite/", people.invite, name="people-invite"),
    path("people/<int:account_id>/link/", people.link, name="people-link"),
    path("people/<int:account_id>/change/", people.change, name="people-role"),
    path("people/browsers/<int:number>/end/", people.end_any_session, name="people-session"),
    path("settings/", settings.fleet, name="settings"),
    path("settings/fleet/", settings.keep_fleet, name="settings-fleet"),
    path("settings/figures/", settings.figures, name="settings-figures"),
    path("settings/figures/keep/", settings.keep_figures, name="settings-keep"),
    path("settings/figures/back/", settings.bring_back, name="settings-back"),
    path("changes/", people.changes, name="changes"),
    path("changes.csv", people.changes_file, name="changes-csv"),
    path("crew/<str:operator_id>/", morning.call, name="crew-call"),
    path("runs/plan/", morning.start_plan, name="plan-start"),
    path("runs/<uuid:run_id>/", morning.run, name="run"),
    path("runs/<uuid:run_id>/cancel/", morning.cancel_run, name="run-cancel"),
    path("roads/", roads.atlas, name="roads"),
    path("roads.json", roads.segments, name="segments"),
    path("tiles/<slug:version>/<int:zoom>/<int:x>/<int:y>.mvt", roads.tile, name="tile"),
    path("tell/<path:segment_id>/", roads.tell, name="tell"),
    path("roads/<path:segment_id>/", roads.road, name="road"),
    path("condition.pdf", roads.condition_pdf, name="condition-pdf"),
    path("inspect/<path:segment_id>/", inspect.inspect, name="inspect"),
    path("photos/<str:name>", inspect.photo, name="photo"),
    path("ledger/", ledger.ledger, name="ledger"),
    path("ledger/work/", books.work, name="books-work"),
    path("ledger/work.csv", books.work_csv, name="books-work-csv"),
    path("ledger/open/", books.open_ends, name="books-open"),
    path("ledger/open/<str:record_id>/<slug:kind>/approve/", books.approve_end, name="end-approve"),
    path("ledger/day/", books.time_sheet, name="books-day"),
    path("ledger/events/", books.events, name="books-events"),
    path("ledger/events/open/", books.open_event, name="event-open"),
    path("ledger/events/gather/", books.gather, name="event-gather"),
    path("ledger/events/<str:code>.zip", books.event_zip, name="event-zip"),
    path("ledger/kept/", books.retention, name="books-keep"),
    path("ledger/kept/road.zip", books.road_zip, name="road-zip"),
    path("ledger/dangers/", ledger.report, name="hazard-report"),
    path("ledger/dangers/<str:hazard_id>/<str:step>/", ledger.move, name="hazard-move"),
    path("ledger/requests/<path:request_id>/place/", ledger.place, name="request-place"),
    path("ledger/requests/<path:request_id>/answer/", ledger.answer, name="request-answer"),
    path("ledger/requests-in/", requests_in.bring_in, name="requests-in"),
    path("imports/", imports.imports, name="imports"),
    path("imports/roads/", imports.bring_roads, name="import-roads"),
    path("imports/track/", imports.bring_track, name="import-track-in"),
    path("imports/<int:number>/", imports.roads, name="import"),
    path("imports/<int:number>/map.svg", imports.roads_map, name="import-map"),
    path("imports/<int:number>/accept/", imports.accept_roads, name="import-accept"),
    path("imports/<int:number>/refuse/", imports.refuse, name="import-refuse"),
    path("imports/<int:number>/track/", imports.track, name="import-track"),
    path("imports/<int:number>/track.svg", imports.track_map, name="import-track-map"),
    path("imports/<int:number>/take/", imports.accept_track, name="import-track-accept"),
    path("imports/<int:number>/request/", imports.accept_sent_request, name="import-request"),
    path("open311/v2/services.<kind311:kind>", open311.services, name="open311-services"),
    path("open311/v2/requests.<kind311:kind>", open311.requests, name="open311-requests"),
    path(
        "open311/v2/requests/<str:request_id>.<kind311:kind>",
        open311.one_request,
        name="open311-request",
    ),
    path("hauls/", hauls.hauls, name="hauls"),
    path("hauls/agree/", hauls.agree, name="haul-agree"),
    path("hauls/leave/", hauls.leave, name="haul-leave"),
    path("hauls/<str:agreement_id>/end/", hauls.end, name="haul-end"),
    path("hauls/<str:agreement_id>/book/", hauls.book, name="haul-book"),
    path("moisture/", moisture.strip, name="moisture"),
    path("moisture.csv", moisture.strip_file, name="moisture-csv"),
    path("moisture-told/", moisture.tell, name="moisture-tell"),
    path("load-limits/", limits.put_up, name="limit-up"),
    path("load-limits/<str:posting_id>/down/", limits.take_down, name="limit-down"),
    path("moisture/<path:segment_id>.csv", moisture.road_file, name="surface-csv"),
    path("moisture/<path:segment_id>/", moisture.road, name="surface"),
    path("plan/", plan.board, name="plan"),
    path("plan/wish/", board.wish, name="plan-wish"),
    path("plan/undo/", board.undo, name="plan-undo"),
    path("plan/drop/", board.drop, name="plan-drop"),
    path("plan/keep/", board.keep, name="plan-keep"),
    path("plan/rebase/", board.rebase, name="plan-rebase"),
    path("plan/back/", board.back, name="plan-back"),
    path("plan/work/<str:stage_id>/", board.stage, name="plan-stage"),
    path("plan/<str:machine_id>/<day:day>/", plan.machine_on_day, name="machine-day"),
    path("years/", years.sheet, name="years"),
    path("years/start/", years.start, name="years-start"),
    path("years/<slug:key>/study.json", years.study_file, name="years-study"),
    path("years/<slug:key>/years.csv", years.table_file, name="years-csv"),
    path("years/<slug:key>/roads.csv", years.roads_file, name="years-roads-csv"),
    path("years/<slug:key>/report.pdf", years.report, name="years-report"),
    path("years/<slug:key>/adopt/", years.adopt, name="years-adopt"),
    path("gravel/", gravel.pits, name="gravel"),
    path("contracts/", contracts.contracts, name="contracts"),
    path("contracts/let/", contracts.let, name="contract-let"),
    path("contracts/<str:contract_id>/tickets/", contracts.tickets, name="contract-tickets"),
    path("contracts/<str:contract_id>/depths/", contracts.depths, name="contract-depths"),
    path("contracts/<str:contract_id>/hold/", contracts.hold_point, name="contract-hold"),
    path("contracts/<str:contract_id>/accept/", contracts.accept, name="contract-accept"),
    path("gravel/blend/", gravel.blend, name="blend"),
    path("gravel/blend.svg", gravel.blend_chart, name="blend-chart"),
    path("gravel/edges/", gravel.fit_edge, name="edge-fit"),
    path("gravel/edges/compare/", gravel.edges, name="edges-compare"),
    path("gravel/dust/", gravel.add_dust, name="dust-add"),
    path("gravel/dust/<str:dust_id>/end/", gravel.end_rest, name="dust-end"),
    path("gravel/tests/<str:test_id>.csv", gravel.test_file, name="test-csv"),
    path("gravel/pits/<str:pit_id>/", gravel.pit, name="pit"),
    path("gravel/pits/<str:pit_id>/chart.svg", gravel.chart, name="pit-chart"),
    path("gravel/pits/<str:pit_id>/zones.svg", gravel.zones, name="pit-zones"),
    path("gravel/pits/<str:pit_id>/tests/", gravel.add_test, name="test-add"),
    path("gravel/pits/<str:pit_id>/ledger/", gravel.add_entry, name="pile-entry"),
    path("permissions/", leave.leave, name="leave-page"),
    path("permissions/file/", leave.file_clearance, name="leave-file"),
    path("permissions/sign/", leave.sign, name="leave-sign"),
    path("cards/", cards.card_list, name="cards"),
    path("cards.pdf", cards.all_pdf, name="cards-pdf"),
    path("day-sheets/", cards.day_sheets, name="day-sheets"),
    path("day-sheets.pdf", cards.day_sheets_file, name="day-sheets-pdf"),
    path("cards/<int:number>/", cards.card, name="card"),
    path("cards/<int:number>/<slug:name>.svg", cards.drawing, name="card-drawing"),
    path("cards/<int:number>.pdf", cards.card_pdf, name="card-pdf"),
    path("cards/issue/", cards.issue, name="cards-issue"),
    path("cards/<int:number>/withdraw/", cards.withdraw, name="card-withdraw"),
    path("cards/<int:number>/again/", cards.write_anew, name="card-again"),
    path("cards/<int:number>/clearance/", cards.put_on_file, name="card-clearance"),
]
