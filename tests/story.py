"""The story from request to hand-over, as both its tests play it: who writes to whom, and what it leaves in
the shop's books."""

CLIENT, SHOP = "ottoline@example.com", "hello@tidewell.example.com"

CLIENT_KINDS = {
    "request-received": 1,
    "quote": 1,
    "quote-accepted": 1,
    "receipt": 2,
    "visit": 2,
    "checked-in": 1,
    "sample": 2,
    "progress": 2,
    "ready": 1,
    "collected": 1,
}
HELD = [("progress", "waiting")]
"""The second email about progress on one day: it can wait, and goes the next morning."""
SHOP_KINDS = {"new-request": 1, "quote-answered": 1, "visit-changed": 2, "sample-answered": 2}
JOURNAL = [
    "request received",
    "quoted",
    "agreed",
    "payment received",
    "booked",
    "drop-off booked",
    "checked in",
    "in work",
    "sample proposed",
    "sample again",
    "sample proposed",
    "sample approved",
    "first coat",
    "progress shown",
    "drying",
    "progress shown",
    "ready",
    "invoice issued",
    "pickup booked",
    "payment received",
    "collected",
]
