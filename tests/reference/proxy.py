"""Puts nginx or Caddy, as deploy's sample sets it up, before a program, and says what a browser and others get from it, as one
JSON object.

    proxy.py nginx|caddy CONFIG PORT

CONFIG is the sample: only its ports, its certificate and the program's port are put in. PORT is the program's.
"""

import json
import os
import re
import socket
import ssl
import subprocess
import sys
import tempfile
import time

import trustme

from visitor import HOST, Visitor, token


def free_port():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


def certify(folder):
    authority = trustme.CA()
    certificate = authority.issue_cert(HOST)
    certificate.cert_chain_pems[0].write_to_path(os.path.join(folder, "chain.pem"))
    certificate.private_key_pem.write_to_path(os.path.join(folder, "key.pem"))
    return authority


def change(sample, changes):
    for pattern, text in changes:
        sample, times = re.subn(pattern, text, sample)
        assert times, f"the sample has no {pattern}"
    return sample


def nginx(sample, folder, program, plain, secure):
    """The file that it is started with, and its command."""
    sample = change(sample, [
        (r"(?m)^\s*listen \[::\].*\n", ""),
        (r"listen 443\b", f"listen 127.0.0.1:{secure}"),
        (r"listen 80\b", f"listen 127.0.0.1:{plain}"),
        (r"ssl_certificate .*;", f"ssl_certificate {folder}/chain.pem;"),
        (r"ssl_certificate_key .*;", f"ssl_certificate_key {folder}/key.pem;"),
        (r"proxy_pass .*;", f"proxy_pass http://127.0.0.1:{program};"),
        (r"error_log \S+", f"error_log {folder}/log"),
    ])
    places = "".join(f"{kind}_temp_path {folder}/{kind};\n" for kind in ["client_body", "proxy", "fastcgi", "uwsgi", "scgi"])
    config = f"pid {folder}/pid;\nevents {{}}\nhttp {{\naccess_log {folder}/log;\n{places}{sample}\n}}\n"
    return config, ["nginx", "-p", folder, "-c", f"{folder}/config", "-e", "stderr", "-g", "daemon off; master_process off;"]


def caddy(sample, folder, program, plain, secure):
    sample = change(sample, [
        (rf"(?m)^{re.escape(HOST)} {{", f"https://{HOST}:{secure} {{\n\tbind 127.0.0.1\n\ttls {folder}/chain.pem {folder}/key.pem"),
        (rf"(?m)^http://{re.escape(HOST)} {{", f"http://{HOST}:{plain} {{\n\tbind 127.0.0.1"),
        (r"reverse_proxy .*", f"reverse_proxy 127.0.0.1:{program}"),
    ])
    # What it looks after besides, on fixed ports, would meet that of another test.
    options = f"{{\n\tadmin off\n\tauto_https off\n\tstorage file_system {folder}"
    config = change(sample, [(r"(?m)^{$", options), (r"\tlog {", f"\tlog {{\n\t\toutput file {folder}/log")])
    return config, ["caddy", "run", "--adapter", "caddyfile", "--config", f"{folder}/config"]


def start(command, port):
    child = subprocess.Popen(command, stderr=sys.stderr)
    while True:
        assert child.poll() is None, f"{command[0]} ended"
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return child
        except OSError:
            time.sleep(0.01)


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


def sign_in(client, **changed):
    _, _, page = client.ask("GET", "/sign-in")
    form = {"csrf": token(page), "mail": "nobody@clients.example.org"} | changed
    return client.ask("POST", "/sign-in", form)[0]


def tell(plain, secure, authority):
    context, version = trusting(authority), ssl.TLSVersion
    open_page = Visitor(plain).ask("GET", "/services/x?y=1")
    browser = Visitor(secure, context)
    status, headers, _ = browser.ask("GET", "/sign-in")
    told = {
        "plain_page": [open_page[0], open_page[1].get("location")],
        "plain_form": Visitor(plain).ask("POST", "/sign-in", {"mail": "nobody@clients.example.org"})[0],
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


def main(kind, sample, program):
    with open(sample) as file, tempfile.TemporaryDirectory() as folder:
        plain, secure = free_port(), free_port()
        authority = certify(folder)
        text, told = file.read(), {}

        def before(port, look):
            config, command = {"nginx": nginx, "caddy": caddy}[kind](text, folder, port, plain, secure)
            with open(os.path.join(folder, "config"), "w") as written:
                written.write(config)
            child = start(command, secure)
            try:
                told.update(look())
            finally:
                child.terminate()
                child.wait()

        def refused():
            return {"without_program": Visitor(secure, trusting(authority)).ask("GET", "/tell-us/a-link-that-opens")[0]}

        before(program, lambda: tell(plain, secure, authority))
        before(free_port(), refused)
        with open(os.path.join(folder, "log")) as log:
            told["logged"] = [line for line in log if "/services/x" in line or "/sign-in" in line or "a-link-that-opens" in line]
        print(json.dumps(told))


main(*sys.argv[1:])
