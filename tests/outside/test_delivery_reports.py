"""Delivery reports as their standards show them:

- RFC 3464 (delivery status notifications), appendix E: its four examples, typed in but for a free line;
- RFC 6533 (reports for addresses outside ASCII), section 3: the address type "utf-8" and its escapes;
- RFC 3463 and its registry: what the codes mean, in words close to theirs;
- Python's own samples of reports (`test.test_email.data`)."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

import pytest

from shopdesk.mail.heard import Bounce, heard
from shopdesk.mail.refusals import plain_words
from tests.conftest import need

SIMPLE = """\
Date: Thu, 7 Jul 1994 17:16:05 -0400
From: Mail Delivery Subsystem <MAILER-DAEMON@CS.UTK.EDU>
Message-Id: <199407072116.RAA14128@CS.UTK.EDU>
Subject: Returned mail: Cannot send message for 5 days
To: <owner-info-mime@cs.utk.edu>
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status;
      boundary="RAA14128.773615765/CS.UTK.EDU"

--RAA14128.773615765/CS.UTK.EDU

The original message was received at Sat, 2 Jul 1994 17:10:28 -0400
from root@localhost

   ----- The following addresses had delivery problems -----
<louisl@larry.slip.umd.edu>  (unrecoverable error)

----- The session follows -----
<louisl@larry.slip.umd.edu>... Deferred: Connection timed out
                with larry.slip.umd.edu.
Message could not be delivered for 5 days
Message will be deleted from queue

--RAA14128.773615765/CS.UTK.EDU
content-type: message/delivery-status

Reporting-MTA: dns; cs.utk.edu

Original-Recipient: rfc822;louisl@larry.slip.umd.edu
Final-Recipient: rfc822;louisl@larry.slip.umd.edu
Action: failed
Status: 4.0.0
Diagnostic-Code: smtp; 426 connection timed out
Last-Attempt-Date: Thu, 7 Jul 1994 17:15:49 -0400

--RAA14128.773615765/CS.UTK.EDU
content-type: message/rfc822

{original}
--RAA14128.773615765/CS.UTK.EDU--
"""

MANY = """\
Date: Fri, 8 Jul 1994 09:21:47 -0400
From: Mail Delivery Subsystem <MAILER-DAEMON@CS.UTK.EDU>
Subject: Returned mail: User unknown
To: <owner-ups-mib@CS.UTK.EDU>
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status;
      boundary="JAA13167.773673707/CS.UTK.EDU"

--JAA13167.773673707/CS.UTK.EDU
content-type: text/plain; charset=us-ascii

   ----- The following addresses had delivery problems -----
<arathib@vnet.ibm.com>  (unrecoverable error)
<wsnell@sdcc13.ucsd.edu>  (unrecoverable error)

--JAA13167.773673707/CS.UTK.EDU
content-type: message/delivery-status

Reporting-MTA: dns; cs.utk.edu

Original-Recipient: rfc822;arathib@vnet.ibm.com
Final-Recipient: rfc822;arathib@vnet.ibm.com
Action: failed
Status: 5.0.0 (permanent failure)
Diagnostic-Code: smtp;  550 'arathib@vnet.IBM.COM' is not a
 registered gateway user
Remote-MTA: dns; vnet.ibm.com

Original-Recipient: rfc822;johnh@hpnjld.njd.hp.com
Final-Recipient: rfc822;johnh@hpnjld.njd.hp.com
Action: delayed
Status: 4.0.0 (hpnjld.njd.jp.com: host name lookup failure)

Original-Recipient: rfc822;wsnell@sdcc13.ucsd.edu
Final-Recipient: rfc822;wsnell@sdcc13.ucsd.edu
Action: failed
Status: 5.0.0
Diagnostic-Code: smtp; 550 user unknown
Remote-MTA: dns; sdcc13.ucsd.edu

--JAA13167.773673707/CS.UTK.EDU
content-type: message/rfc822

[original message goes here]
--JAA13167.773673707/CS.UTK.EDU--
"""

GATEWAY = """\
Disclose-recipients: prohibited
Date: Fri, 08 Jul 1994 09:21:25 -0400 (EDT)
From: Message Router Submission Agent <AMMGR@corp.timeplex.com>
Subject: Status of : Re: Battery current sense
To: owner-ups-mib@CS.UTK.EDU
Message-id: <01HEGJ0WNBY28Y95LN@mr.timeplex.com>
MIME-version: 1.0
Content-Type: multipart/report; report-type=delivery-status;
  boundary="84229080704991.122306.SYS30"

--84229080704991.122306.SYS30
content-type: text/plain

Invalid address - nair_s
%DIR-E-NODIRMTCH, No matching Directory Entry found

--84229080704991.122306.SYS30
content-type: message/delivery-status

Reporting-MTA: mailbus; SYS30

Final-Recipient: unknown; nair_s
Status: 5.0.0 (unknown permanent failure)
Action: failed

--84229080704991.122306.SYS30--
"""

DELAYED = """\
From: <postmaster@nsfnet-relay.ac.uk>
Message-Id: <199407092338.TAA23293@CS.UTK.EDU>
Received: from nsfnet-relay.ac.uk by sun2.nsfnet-relay.ac.uk
      id <g.12954-0@sun2.nsfnet-relay.ac.uk>;
      Sun, 10 Jul 1994 00:36:51 +0100
To: owner-info-mime@cs.utk.edu
Date: Sun, 10 Jul 1994 00:36:51 +0100
Subject: WARNING: message delayed at "nsfnet-relay.ac.uk"
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status;
      boundary=foobar

--foobar
content-type: text/plain

The following message:

UA-ID:  Reliable PC (...
Q-ID:   sun2.nsf:77/msg.11820-0

has not been delivered to the intended recipient:

thomas@de-montfort.ac.uk

despite repeated delivery attempts over the past 24 hours.

The usual cause of this problem is that the remote system is
temporarily unavailable.

Delivery will continue to be attempted up to a total elapsed time
of 168 hours, i.e., 7 days.

You will be informed if delivery proves to be impossible within
this time.

Please quote the Q-ID in any queries regarding this mail.

--foobar
content-type: message/delivery-status

Reporting-MTA: dns; sun2.nsfnet-relay.ac.uk

Final-Recipient: rfc822;thomas@de-montfort.ac.uk
Status: 4.0.0 (unknown temporary failure)
Action: delayed

--foobar--
"""


def bounced(text: str) -> Bounce:
    made = heard(text.encode())
    assert made.automatic
    assert made.bounce is not None
    return made.bounce


def test_a_simple_report() -> None:
    original = "Message-ID: <1@tidewell.example.com>\nTo: louisl@larry.slip.umd.edu\nSubject: x\n\nWords."
    said = bounced(SIMPLE.replace("{original}", original))
    assert said == Bounce(
        message_id="<1@tidewell.example.com>",
        address="louisl@larry.slip.umd.edu",
        action="failed",
        status="4.0.0",
        words="Their mail server did not take it. The server said: “426 connection timed out”",
    )
    assert bounced(SIMPLE.replace("{original}", "[original message goes here]")).message_id == ""


def test_a_report_on_several_people_names_the_first_that_failed() -> None:
    said = bounced(MANY)
    assert (said.address, said.action, said.status) == ("arathib@vnet.ibm.com", "failed", "5.0.0")
    assert said.words == (
        "Their mail server does not take email for that address. The server said: "
        "“550 'arathib@vnet.IBM.COM' is not a registered gateway user”"
    )
    worst_last = MANY.replace(
        "Action: failed\nStatus: 5.0.0 (permanent failure)", "Action: relayed\nStatus: 2.0.0"
    )
    assert bounced(worst_last).address == "wsnell@sdcc13.ucsd.edu"


def test_a_report_of_a_gateway_without_an_address() -> None:
    said = bounced(GATEWAY)
    assert (said.address, said.action, said.status) == ("", "failed", "5.0.0")
    assert said.words == "Their mail server did not take it."


def test_a_report_of_a_delay() -> None:
    said = bounced(DELAYED)
    assert (said.address, said.action, said.status) == ("thomas@de-montfort.ac.uk", "delayed", "4.0.0")
    assert said.words.startswith("It is not delivered yet; the mail server goes on trying.")


@pytest.mark.parametrize(
    ("recipient", "address"),
    [
        ("utf-8; käte@möbel.example", "käte@möbel.example"),
        ("utf-8; k\\x{E4}te@m\\x{F6}bel.example", "käte@möbel.example"),
        ("utf-8; k\\x{D800}te@example.com", "kte@example.com"),
        ("rfc822; Kate@Example.com", "kate@example.com"),
        ("rfc822;<kate@example.com>", "kate@example.com"),
    ],
)
@pytest.mark.parametrize("field", ["Original-Recipient", "Final-Recipient"])
def test_rfc6533_addresses(recipient: str, address: str, field: str) -> None:
    text = DELAYED.replace("Final-Recipient: rfc822;thomas@de-montfort.ac.uk", f"{field}: {recipient}")
    text = text.replace(
        "content-type: message/delivery-status", "Content-Type: message/global-delivery-status"
    )
    original = (
        "--foobar\nContent-Type: message/global-headers\n\nMessage-ID: <ä@example.com>\nTo: x\n\n--foobar--"
    )
    said = bounced(text.replace("--foobar--", original))
    assert (said.address, said.message_id) == (address, "<ä@example.com>")


# RFC 3463: section 3 names what the codes mean; the additions are named in refusals.py.
@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("5.1.1", "no such mailbox"),
        ("5.1.2", "no mail server for"),
        ("5.1.6", "moved"),
        ("5.1.10", "takes no email at all"),  # RFC 7505
        ("5.2.1", "switched off"),
        ("5.2.2", "mailbox is full"),
        ("5.2.3", "larger"),
        ("4.3.1", "no room left"),
        ("5.3.4", "larger"),
        ("4.4.1", "does not answer"),
        ("4.4.2", "broke off"),
        ("5.4.6", "in circles"),
        ("4.4.7", "could not be delivered in time"),
        ("5.6.7", "letters like these"),  # RFC 6531
        ("5.7.1", "refused it as unwanted"),
        ("5.7.8", "user name and password"),  # RFC 4954
        ("5.7.23", "really from the shop"),  # RFC 7372
        ("5.1.99", "wrong with the address"),
        ("5.7.99", "refused it"),
    ],
)
def test_what_the_codes_mean(code: str, words: str) -> None:
    assert words in plain_words(code)
    assert words in plain_words("", f"550 {code} something of theirs")
    assert ("It may work later." in plain_words(code)) is (code[0] == "4" and code != "4.4.7")


def test_pythons_samples_of_reports() -> None:
    try:
        folder = Path(next(iter(import_module("test.test_email.data").__path__)))
    except ModuleNotFoundError:
        folder = Path("missing")
    need(
        "stdlib-mail",
        folder.is_dir(),
        "Python's own tests are not installed (Debian: libpython3.11-testsuite)",
    )
    expected = {
        "msg_16.txt": ("<002001c144a6$8752e060$56104586@oxy.edu>", "jangel1@cougar.noc.ucla.edu", "5.0.0"),
        "msg_25.txt": ("<01040616033903.00962@server>", "scoffman@wellpartner.com", "5.4.6"),
        "msg_43.txt": ("<edab.7804f5cb8070@python.org>", "xxxxxxx@dot.ca.gov", "5.7.1"),
    }
    for file in sorted(folder.glob("msg_*.txt")):
        said = heard(file.read_bytes()).bounce
        found = said and (said.message_id, said.address, said.status)
        assert found == expected.get(file.name), file.name
