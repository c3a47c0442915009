"""A browser as far as servers notice one."""

import http.client
import re
import socket
import urllib.parse

HOST = "book.example.org"


class Visitor:
    """Keeps cookies and says where a form comes from."""

    def __init__(self, port, context=None):
        self.port, self.context, self.cookies, self.set = port, context, {}, []

    def ask(self, method, path, form=None, headers=()):
        sock = socket.create_connection(("127.0.0.1", self.port), timeout=120)
        connection = http.client.HTTPConnection(HOST)
        connection.sock = self.context.wrap_socket(sock, server_hostname=HOST) if self.context else sock
        sent = dict(headers, Host=HOST)
        if self.cookies:
            sent["Cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        body = None
        if form is not None:
            body = urllib.parse.urlencode(form)
            sent |= {"Content-Type": "application/x-www-form-urlencoded", "Origin": f"https://{HOST}"}
            sent["Sec-Fetch-Site"] = "same-origin"
        connection.request(method, path, body, sent)
        answer = connection.getresponse()
        text = answer.read().decode("utf-8", "replace")
        for line in answer.headers.get_all("Set-Cookie") or []:
            self.set.append(line)
            name, _, value = line.split(";")[0].partition("=")
            self.cookies[name] = value
        connection.close()
        return answer.status, {name.lower(): value for name, value in answer.headers.items()}, text


def token(page):
    return re.search(r'name="csrf" value="([^"]+)"', page).group(1)
