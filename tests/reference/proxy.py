"""Puts nginx, as deploy/nginx.conf sets it up, before a program, and says what a browser and others get from it, as one JSON
object.

    proxy.py CONFIG PORT

CONFIG is the sample: only its ports, its certificate and the program's port are put in. PORT is the program's.
"""

import http.client
import json
import os
import re
import socket
import ssl
import subprocess
import sys
import tempfile
import time
import urllib.parse

import trustme

HOST = "book.example.org"


def free_port():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


def set_up(sample, folder, program, plain, secure):
    authority = trustme.CA()
    certificate = authority.issue_cert(HOST)
    certificate.cert_chain_pems[0].write_to_path(os.path.join(folder, "chain.pem"))
    certificate.private_key_pem.write_to_path(os.path.join(folder, "key.pem"))
    changes = [
        (r"(?m)^\s*listen \[::\].*\n", ""),
        (r"listen 443\b", f"listen 127.0.0.1:{secure}"),
        (r"listen 80\b", f"listen 127.0.0.1:{plain}"),
        (r"ssl_certificate .*;", f"ssl_certificate {folder}/chain.pem;"),
        (r"ssl_certificate_key .*;", f"ssl_certificate_key {folder}/key.pem;"),
        (r"proxy_pass .*;", f"proxy_pass http://127.0.0.1:{program};"),
    ]
    for pattern, text in changes:
        sample, times = re.subn(pattern, text, sample)
        assert times, f"the sample has no {pattern}"
    places = "".join(f"{kind}_temp_path {folder}/{kind};\n" for kind in ["client_body", "proxy", "fastcgi", "uwsgi", "scgi"])
    with open(os.path.join(folder, "nginx.conf"), "w") as file:
        file.write(f"pid {folder}/pid;\nevents {{}}\nhttp {{\naccess_log off;\n{places}{sample}\n}}\n")
    return authority


def start(folder, port):
    arguments = ["nginx", "-p", folder, "-c", f"{folder}/nginx.conf", "-e", "stderr", "-g", "daemon off; master_process off;"]
    child = subprocess.Popen(arguments, stderr=sys.stderr)
    while True:
        assert child.poll() is None, "nginx ended"
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return child
        except OSError:
            time.sleep(0.01)


class Client:
    """A browser as far as it matters here: it keeps cookies and says where a form comes from."""

    def __init__(self, port, context=None):
        self.port, self.context, self.cookies, self.set = port, context, {}, []

    def ask(self, method, path, form=None, headers=()):
        sock = socket.create_connection(("127.0.0.1", self.port), timeout=20)
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


def trusting(authority):
    context = ssl.create_default_context()
    authority.configure_trust(context)
    return context


def speaks(port, authority, lowest, highest, ciphers="ALL:@SECLEVEL=0"):
    """The version and the suite that are agreed on, or nothing."""
    context = trusting(authority)
    context.minimum_version, context.maximum_version = lowest, highest
    context.set_ciphers(ciphers)
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=20) as sock:
            with context.wrap_socket(sock, server_hostname=HOST) as secure:
                return [secure.version(), secure.cipher()[0]]
    except (ssl.SSLError, ConnectionError):
        return None


def token(page):
    return re.search(r'name="csrf" value="([^"]+)"', page).group(1)


def sign_in(client, **changed):
    _, _, page = client.ask("GET", "/sign-in")
    form = {"csrf": token(page), "mail": "nobody@clients.example.org"} | changed
    return client.ask("POST", "/sign-in", form)[0]


def tell(plain, secure, authority):
    context, version = trusting(authority), ssl.TLSVersion
    open_page = Client(plain).ask("GET", "/services/x?y=1")
    browser = Client(secure, context)
    status, headers, _ = browser.ask("GET", "/sign-in")
    told = {
        "plain_page": [open_page[0], open_page[1].get("location")],
        "plain_form": Client(plain).ask("POST", "/sign-in", {"mail": "nobody@clients.example.org"})[0],
        "page": [status, headers.get("strict-transport-security")],
        "cookies": browser.set,
        "form": sign_in(browser),
        "forged_form": sign_in(browser, csrf="0" * 64),
        "tls": {
            "1.0": speaks(secure, authority, version.TLSv1, version.TLSv1),
            "1.1": speaks(secure, authority, version.TLSv1_1, version.TLSv1_1),
            "1.2": speaks(secure, authority, version.TLSv1_2, version.TLSv1_2),
            "1.3": speaks(secure, authority, version.TLSv1_3, version.TLSv1_3),
        },
        "weak": {
            suite: speaks(secure, authority, version.TLSv1_2, version.TLSv1_2, f"{suite}:@SECLEVEL=0")
            for suite in ["AES128-SHA", "AES128-GCM-SHA256", "ECDHE+AES:!AESGCM:!AESCCM", "aNULL", "3DES", "RC4"]
            if has(suite)
        },
    }
    # Somebody who says that she is somebody else each time is limited all the same.
    statuses = []
    for at in range(60):
        _, _, page = browser.ask("GET", "/sign-in")
        form = {"csrf": token(page), "mail": f"nobody{at}@clients.example.org"}
        statuses.append(browser.ask("POST", "/sign-in", form, {"X-Forwarded-For": f"198.51.100.{at}"})[0])
    return told | {"spoofed": sorted(set(statuses))}


def has(suite):
    """Whether this computer could agree to such a suite at all."""
    try:
        ssl.create_default_context().set_ciphers(f"{suite}:@SECLEVEL=0")
        return True
    except ssl.SSLError:
        return False


def main(config, program):
    with open(config) as file, tempfile.TemporaryDirectory() as folder:
        plain, secure = free_port(), free_port()
        authority = set_up(file.read(), folder, program, plain, secure)
        child = start(folder, secure)
        try:
            print(json.dumps(tell(plain, secure, authority)))
        finally:
            child.terminate()
            child.wait()


main(*sys.argv[1:])
