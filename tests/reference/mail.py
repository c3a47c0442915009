"""A mail server that says what it was given, one JSON object a line. Its first line is its port and the authority of its
certificate (PEM, empty without TLS).

    mail.py [--tls] [--password PASSWORD]

Whoever sends has to sign in as "studio" when there is a password. Of the recipients, nobody@… doesn't exist, full@… has no
room today, refused@… is refused with its content, slow@… is answered after a minute, gone@… is cut off.
"""

import argparse
import asyncio
import email
import email.policy
import json
import logging
import ssl
import warnings

import icalendar
import trustme
from aiosmtpd.smtp import SMTP, AuthResult

# It warns of what a test server may well do.
warnings.simplefilter("ignore")
logging.disable(logging.WARNING)


def events(text):
    calendar = icalendar.Calendar.from_ical(text)
    found = [[str(e["UID"]), int(e["SEQUENCE"]), int(e.decoded("DTSTART").timestamp()), str(e["STATUS"])] for e in calendar.walk("VEVENT")]
    return {"method": str(calendar["METHOD"]), "events": found}


def told(envelope):
    message = email.message_from_bytes(envelope.original_content, policy=email.policy.default)
    parts = {}
    for part in message.walk():
        if not part.is_multipart():
            kind = part.get_content_type() + (" attached" if part.is_attachment() else "")
            parts[kind] = part.get_content() if isinstance(part.get_content(), str) else part.get_content().decode()
    calendars = {kind: events(text) for kind, text in parts.items() if "calendar" in kind or "ics" in kind}
    defects = [str(d) for part in message.walk() for d in part.defects]
    headers = [[name.lower(), str(value)] for name, value in message.items()]
    return {"from": envelope.mail_from, "to": envelope.rcpt_tos, "headers": headers, "parts": parts, "calendars": calendars, "defects": defects}


class Handler:
    async def handle_RCPT(self, server, session, envelope, address, options):
        name = address.split("@")[0]
        if name == "nobody":
            return "550 no such mailbox"
        if name == "full":
            return "452 no room today"
        if name == "gone":
            server.transport.abort()
        envelope.rcpt_tos.append(address)
        return "250 well"

    async def handle_DATA(self, server, session, envelope):
        names = [address.split("@")[0] for address in envelope.rcpt_tos]
        if "refused" in names:
            return "554 not with these words"
        if "slow" in names:
            await asyncio.sleep(60)
        print(json.dumps(told(envelope)), flush=True)
        return "250 taken"


async def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--tls", action="store_true")
    arguments.add_argument("--password")
    given = arguments.parse_args()
    context, authority = None, ""
    if given.tls:
        maker = trustme.CA()
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        maker.issue_cert("localhost").configure_cert(context)
        authority = maker.cert_pem.bytes().decode()

    def check(server, session, envelope, mechanism, data):
        good = data.login == b"studio" and data.password == given.password.encode()
        return AuthResult(success=good, handled=False)

    def conversation():
        wanted = {"auth_required": True, "auth_require_tls": False, "authenticator": check} if given.password else {}
        return SMTP(Handler(), enable_SMTPUTF8=True, **wanted)

    server = await asyncio.get_running_loop().create_server(conversation, "127.0.0.1", 0, ssl=context)
    print(json.dumps([server.sockets[0].getsockname()[1], authority]), flush=True)
    await server.serve_forever()


asyncio.run(main())
