#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Mails as Python's own email package reads them.

    mails.py read MAILDIR      of each mail, in the order of its recipient: one JSON line
    mails.py same FILE...      FILE.mail is a mail as sent; FILE.subject and FILE.body are what it has to
                               say; also its form: no defects, CRLF alone, lines of 78 at most
"""
import email
import email.policy
import json
import mailbox
import sys
from email.utils import parsedate_to_datetime


def fields(message):
    return {
        "from": str(message["From"]), "to": [a.addr_spec for a in message["To"].addresses],
        "subject": str(message["Subject"]), "id": str(message["Message-ID"]),
        "reply": str(message["In-Reply-To"]), "time": parsedate_to_datetime(message["Date"]).timestamp(),
        "auto": str(message["Auto-Submitted"]), "importance": str(message["Importance"]),
        "encoding": str(message["Content-Transfer-Encoding"]), "type": message.get_content_type(),
        "charset": message.get_content_charset(), "body": message.get_content(),
        "names": sorted(set(message.keys())), "defects": [str(d) for d in message.defects],
        "rcpt": str(message["X-RcptTo"]), "mailfrom": str(message["X-MailFrom"]),
    }


def read(maildir):
    box = mailbox.Maildir(maildir, create=False)
    found = [fields(email.message_from_bytes(box.get_bytes(key), policy=email.policy.default))
             for key in box.keys()]
    for one in sorted(found, key=lambda f: (f["rcpt"], f["id"])):
        print(json.dumps(one))


def complaint(name):
    raw = open(name + ".mail", "rb").read()
    message = email.message_from_bytes(raw, policy=email.policy.default)
    subject = open(name + ".subject", encoding="utf-8", newline="").read()
    body = open(name + ".body", encoding="utf-8", newline="").read()
    if any(byte < 32 or byte > 126 for byte in raw.replace(b"\r\n", b"")):
        return "a control, a byte of eight bits, or a line that is not ended by CRLF"
    if max(len(line) for line in raw.split(b"\r\n")) > 78:
        return "a line longer than 78"
    if message.defects or [d for h in message.values() for d in getattr(h, "defects", [])]:
        return f"defects: {message.defects}"
    if str(message["Subject"]) != subject:
        return f"subject {message['Subject']!r}, expected {subject!r}"
    if message.get_content().replace("\r\n", "\n") != body + "\n":
        return f"body {message.get_content()!r}, expected {body!r}"
    if "Bcc" in message or len(message.get_all("To")) != 1:
        return "a header that nobody wrote"
    return None


def same(names):
    for name in names:
        what = complaint(name)
        if what:
            print(f"{name}: {what}")
            return 1
    return 0


if sys.argv[1] == "read":
    read(sys.argv[2])
else:
    sys.exit(same(sys.argv[2:]))
