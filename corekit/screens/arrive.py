"""Arriving: what the customer says, which vehicle, whose; a reason where no number can be read.

Said again later, it is a correction.
"""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import parse_qs, urlencode, urlsplit

import attrs
import flask

from ..complaints import SymptomList, symptoms
from ..desk import jobs
from ..desk.complaint import not_covered, not_covered_words
from ..desk.customers import ListedCustomer, found_customers, listed_customers
from ..desk.errors import StoreError
from ..desk.vehicle_history import jobs_of_customer, jobs_of_vehicle
from ..model.job import Job
from ..model.personal import Personal, shop_words
from ..model.records import NOT_SEEN, Complained, Customer, Opened, Remarked, Vehicle
from ..model.vin import VinCheck, VinError, read_vin
from ..web.address import own_path
from .context import Van
from .job_rows import rows_of
from .page import job_page, vehicle_named, vehicle_words

#: Why there is neither plate nor VIN, as it stands on the paper.
NO_NUMBER = (
    ("", "There is a plate or VIN"),
    ("not found", "Not found"),
    ("not readable", "Not readable"),
    (NOT_SEEN, "Not seen yet"),
)


@attrs.frozen(kw_only=True)
class ArrivalFields:
    """What was said of a job on arrival, as it is typed; empty where nothing was."""

    reason: str = ""
    plate: str = ""
    vin: str = ""
    description: str = ""
    no_vin: str = ""
    odometer: str = ""
    name: str = ""
    phone: str = ""
    address: str = ""
    email: str = ""
    symptoms: tuple[str, ...] = ()
    when: tuple[str, ...] = ()
    shows: str = ""


def add(app: flask.Flask, van: Van) -> None:
    app.jinja_env.globals.update(no_number=NO_NUMBER)

    @app.context_processor
    def listed() -> dict[str, SymptomList]:
        return {"symptom_list": symptoms()}  # plugins add to it when they are loaded

    @app.get("/new")
    def new() -> str:
        """A new job; its id is drawn with the page, so that sending it twice begins one job only.

        `?beside=` another car in the driveway of that job; `?again=` the car of that job came back, to have
        earlier work made good. `?known=` the vehicle and the customer of that job are here for something new;
        `?customer=` its customer, with another vehicle; `?listed=` a row of the shop's own list.
        """
        beside, again, known = (
            _job_of_address(van, "beside"),
            _job_of_address(van, "again"),
            _job_of_address(van, "known"),
        )
        said = ArrivalFields()
        if (before := again or known) is not None:
            said = attrs.evolve(said_in(van, before), reason="", odometer="", symptoms=(), when=(), shows="")
        elif beside is not None:
            said = _customer_alone(said_in(van, beside))
        elif (listed := _listed_of_address(van)) is not None:
            said = ArrivalFields(
                name=listed.name,
                phone=listed.phone,
                address=listed.address,
                email=listed.email,
                plate=listed.plate,
                description=listed.vehicle,
            )
        elif (customer := _job_of_address(van, "customer")) is not None:
            said = _customer_alone(said_in(van, customer))
        job = _drawn_before() or jobs.new_job_id(van.shop)
        pays = (beside.same_trip_as or beside.id) if beside is not None else ""
        invoice = again.issued[-1].record.number if again is not None and again.issued else ""
        return flask.render_template(
            "arrive.html",
            job=job,
            which="",
            said=said,
            beside=beside,
            pays=pays,
            pays_words=vehicle_named(pays, van),
            invoice=invoice,
            known=vehicle_words(known, van.texts(known)) if known is not None and again is None else "",
            next=f"/job/{job}/requested?{urlencode({'rework': invoice})}" if invoice else "",
        )

    @app.get("/job/<job>/arrive")
    def arrive(job: str) -> str:
        """What was said on arrival, to be corrected.

        Whoever is at a vehicle that was not seen before says first which one it is.
        """
        record = van.job(job)
        said = said_in(van, record)
        unseen = said.no_vin == NOT_SEEN
        entries = {
            kind: noted.id
            for kind, noted in ((kind, record.last(kind)) for kind in (Opened, Vehicle, Customer, Complained))
            if noted is not None
        }
        ids = {
            "reason": entries.get(Opened, "") if record.opened.words is not None else "",
            "vehicle": entries.get(Vehicle, ""),
        }
        said = attrs.evolve(said, no_vin="") if unseen else said
        texts = van.texts(record)
        remarks = [
            {"entry": noted.id, "text": _text(texts, noted.record.words) or "removed"}
            for noted in record.all(Remarked)
        ]
        return job_page(
            "arrived.html",
            record,
            van,
            said=said,
            unseen=unseen,
            remarks=remarks,
            ids=ids | {"customer": entries.get(Customer, ""), "complaint": entries.get(Complained, "")},
        )

    @app.get("/job/<job>/hazards")
    def hazards(job: str) -> str:
        """What belongs to the complaint and comes before anything else; `?next=` is where one was going."""
        record = van.job(job)
        told = record.complained
        own, always = symptoms().hazards_of(told.symptoms if told is not None else ())
        return job_page(
            "hazards.html",
            record,
            van,
            own=own,
            always=always,
            not_covered=[not_covered_words(one) for one in not_covered(record, van.shop.plugins)],
            onward=own_path(flask.request.args.get("next", ""), f"/job/{job}"),
        )

    @app.post("/job/<job>/arrive/try")
    def vin(job: str) -> str:
        """What a VIN says while it is typed; nothing is written, and the job need not exist yet."""
        form = flask.request.form
        plate, number = form.get("vehicle.plate", ""), form.get("vehicle.vin", "")
        name, phone = form.get("customer.name", ""), form.get("customer.phone", "")
        known = [one for one in jobs_of_vehicle(van.shop, plate, number, most=1) if one.id != job]
        customers = [one for one in jobs_of_customer(van.shop, name, phone) if one.id != job]
        # the lists are of who is not filled in already
        is_new = not known and not (name and phone)
        listed = found_customers(van.shop.folder, name=name, phone=phone, plate=plate) if is_new else []
        return flask.render_template(
            "vin.html",
            words=vin_words(number),
            known=rows_of(van, known),
            customers=rows_of(van, customers) if is_new else [],
            listed=listed if not customers else [],
        )


def hazards_first(van: Van, job: str, onward: str) -> str:
    """Where a complaint leads: to what has to be said of it before anything else, or straight on."""
    record = van.job(job)
    told = record.complained
    if told is None or not (
        any(symptoms().hazards_of(told.symptoms)) or not_covered(record, van.shop.plugins)
    ):
        return onward
    return f"/job/{job}/hazards?{urlencode({'next': onward})}"


def said_in(van: Van, job: Job) -> ArrivalFields:
    """What stands of a job's arrival."""
    texts, vehicle, customer = van.texts(job), job.vehicle, job.customer
    told = job.complained or Complained()
    return ArrivalFields(
        symptoms=tuple(told.symptoms),
        when=tuple(told.circumstances),
        shows=told.shows,
        reason=_text(texts, job.opened.words),
        plate=_text(texts, vehicle.plate),
        vin=_text(texts, vehicle.vin),
        description=_text(texts, vehicle.description),
        no_vin=shop_words(vehicle.why_no_vin, texts),
        odometer=vehicle.odometer_typed,
        name=_text(texts, customer.name),
        phone=_text(texts, customer.phone),
        address=_text(texts, customer.address),
        email=_text(texts, customer.email),
    )


def _text(texts: Mapping[str, str], reference: object) -> str:
    return texts.get(reference.hash, "") if isinstance(reference, Personal) else ""


def _job_of_address(van: Van, how: str) -> Job | None:
    """The job that the address of the screen names so, also of one that came back."""
    address = urlsplit(str(flask.g.get("screen") or flask.request.full_path))
    named = parse_qs(address.query).get(how, [""])[0]
    if not named:
        return None
    try:
        return van.job(named)
    except StoreError:
        return flask.abort(404)


def _listed_of_address(van: Van) -> ListedCustomer | None:
    """The row of the shop's list that the address of the screen names."""
    address = urlsplit(str(flask.g.get("screen") or flask.request.full_path))
    named = parse_qs(address.query).get("listed", [""])[0]
    if not named:
        return None
    found = next((one for one in listed_customers(van.shop.folder) if one.id == named), None)
    return found or flask.abort(404)


def _customer_alone(stands: ArrivalFields) -> ArrivalFields:
    return ArrivalFields(name=stands.name, phone=stands.phone, address=stands.address, email=stands.email)


def _drawn_before() -> str:
    """The id of the form that came back: it still is the same new job."""
    return str((flask.request.view_args or {}).get("job", "")) if flask.g.get("given") is not None else ""


def vin_words(text: str) -> tuple[str, ...]:
    """What a VIN says by itself: its check digit and the model years it leaves open, or what is wrong with
    it. Nothing for nothing.
    """
    if not text.strip():
        return ()
    try:
        vin = read_vin(text)
    except VinError as error:
        return (f"{error.got[:1].upper()}{error.got[1:]}.",)
    if vin.check is VinCheck.AGREES:
        digit = "The check digit agrees."
    else:
        weight = (
            "Its region demands one, so a character is probably wrong"
            if vin.mandatory
            else "Many regions use none, so it may be right all the same"
        )
        digit = (
            f"The check digit (position 9) would be {vin.expected}. {weight}: compare it with the stamped"
            " number."
        )
    years = (
        f"Position 10 leaves the model years {' or '.join(map(str, vin.model_years))} open."
        if vin.model_years
        else "Position 10 names no model year."
    )
    return (digit, years)
