#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""A mail server of the tests' own on loopback: aiosmtpd (Debian: python3-aiosmtpd) into a Maildir.

    smtp_server.py MAILDIR [--tls CERT KEY | --smtps CERT KEY] [--auth USER PASSWORD] [--refuse ADDRESS]
                           [--host HOST] [--no-mail]

Prints its port, then ends when its standard input does. --tls: nothing before STARTTLS. --auth: nothing
before a login. --refuse: 550 for that recipient. --no-mail: 451 for every mail.
"""
import argparse
import asyncio
import logging
import ssl
import sys
import warnings

from aiosmtpd.handlers import Mailbox
from aiosmtpd.smtp import SMTP, AuthResult

parser = argparse.ArgumentParser()
parser.add_argument("maildir")
parser.add_argument("--tls", nargs=2)
parser.add_argument("--smtps", nargs=2)
parser.add_argument("--auth", nargs=2)
parser.add_argument("--refuse")
parser.add_argument("--host", default="127.0.0.1")
parser.add_argument("--no-mail", action="store_true")
args = parser.parse_args()


class Handler(Mailbox):
    async def handle_RCPT(self, server, session, envelope, address, options):
        if address == args.refuse:
            return "550 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        if args.no_mail:
            return "451 not now"
        return await super().handle_DATA(server, session, envelope)


def authenticate(server, session, envelope, mechanism, data):
    given = [data.login.decode(), data.password.decode()]
    return AuthResult(success=given == args.auth, handled=False)


def context(files):
    made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    made.load_cert_chain(*files)
    return made


async def main():
    options = {"hostname": "mail.example.org", "enable_SMTPUTF8": False}
    if args.tls:
        options.update(tls_context=context(args.tls), require_starttls=True)
    if args.auth:
        options.update(authenticator=authenticate, auth_required=True, auth_require_tls=bool(args.tls))
    handler = Handler(args.maildir)
    server = await asyncio.get_running_loop().create_server(
        lambda: SMTP(handler, **options), args.host, 0,
        ssl=context(args.smtps) if args.smtps else None)
    print(server.sockets[0].getsockname()[1], flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    server.close()


logging.disable(logging.CRITICAL)
warnings.simplefilter("ignore")
asyncio.run(main())
