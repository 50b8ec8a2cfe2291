"""The job `history suppliers`: deliveries kept over time, and what to measure of the next one."""

from __future__ import annotations

from datetime import datetime

from gearqa.errors import ArgumentError
from gearqa.history.deliveries import add_delivery, drop_delivery, require_supplier, select_deliveries
from gearqa.incoming.delivery_checks import checked_delivery
from gearqa.incoming.supplier_reviews import supplier_reviews
from gearqa.jobs.stores import AnyStore, opened
from gearqa.jobs.times import moment
from gearqa.model.deliveries import CheckedDelivery, KeptDelivery, StoredDelivery, SupplierReview
from gearqa.model.incoming import IncomingResult


def keep_delivery(
    result: IncomingResult,
    *,
    delivered: str | datetime | None = None,
    replace: bool = False,
    store: AnyStore = None,
) -> KeptDelivery:
    """Keep what checking a supplier's report found; the same report and findings change nothing.

    Parameters
    ----------
    result : IncomingResult
        Of `check_report`, with the supplier's name.
    delivered : str or datetime, optional
        When the delivery came; now by default.
    replace : bool
        Other findings of a report that is stored supersede the stored ones, which is logged; else they are
        an error.
    store : HistoryStore, str or path, optional
        As in `add_to_history`.

    Returns
    -------
    KeptDelivery
        The delivery as stored, and whether it is new.

    Raises
    ------
    ArgumentError
        If the supplier is not named.
    StoreConflictError
        If the report is stored with other findings.

    Examples
    --------
    >>> import gearqa, tempfile
    >>> report = "sample_measurements/supplier_report/report.csv"
    >>> result = gearqa.check_report(report, "sample_measurements/ring_conforming", supplier="S-1")
    >>> store = f"{tempfile.mkdtemp()}/gears.sqlite"
    >>> gearqa.keep_delivery(result, delivered="2025-03-03", store=store).delivery.id
    1
    >>> (review,) = gearqa.review_suppliers(store=store)
    >>> review.outcomes["differs"], review.next.level
    (1, 'normal')
    """
    return keep_checked(checked_delivery(result), delivered=delivered, replace=replace, store=store)


def keep_checked(
    one: CheckedDelivery,
    *,
    delivered: str | datetime | None = None,
    replace: bool = False,
    store: AnyStore = None,
) -> KeptDelivery:
    """The same of a check in short."""
    if not one.supplier:
        raise ArgumentError("supplier", "name who made the report, to keep it with that supplier's others")
    with opened(store, writing=True) as history:
        return add_delivery(
            history, one.supplier, (one.part_number, one.revision), one.report_sha256, one.check,
            delivered=moment(delivered, "delivered"), simulated=one.simulated, replace=replace,
        )  # fmt: skip


def review_suppliers(
    supplier: str | None = None,
    *,
    part_number: str | None = None,
    as_of: str | datetime | None = None,
    store: AnyStore = None,
) -> tuple[SupplierReview, ...]:
    """Review the deliveries of suppliers: agreement, bias, claims, what to measure next; one a part.

    Parameters
    ----------
    supplier : str, optional
        Only this supplier; raises StoreError if no delivery of it is stored.
    part_number : str, optional
        Only this part.
    as_of : str or datetime, optional
        Time of looking; now by default. Later deliveries do not count.
    store : HistoryStore, str or path, optional
        As in `add_to_history`.
    """
    looked = moment(as_of, "as_of", end_of_day=True) or datetime.now().astimezone()
    name = None if supplier is None else " ".join(supplier.split())
    with opened(store) as history, history.reading() as connection:
        if name is not None:
            require_supplier(connection, history, name)
        until = looked if as_of is not None else None
        found = select_deliveries(connection, supplier=name, part_number=part_number, until=until)
    return supplier_reviews(found, as_of=looked)


def remove_delivery(number: int, *, remark: str | None = None, store: AnyStore = None) -> StoredDelivery:
    """Take the delivery of this number out of the count; it is kept as removed, and logged."""
    with opened(store, writing=True) as history:
        return drop_delivery(history, number, remark=remark)
