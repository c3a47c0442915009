"""Inside a machine of its own: does what README.md says for a machine with systemd, and looks at what then runs.

Which part, the kernel's command line says (see boot.py):

    look=install   the commands of README.md, the studio is set up, and the unit is looked at; then as after a cut
    look=cut       a machine that lost its power: what was answered is there
    look=last      the other web server, the log on its way elsewhere, a backup put back, and the end

After `install` and `cut` rooms are added for as long as there is power; each is told once it was answered.
"""

import base64
import glob
import hashlib
import hmac
import json
import os
import re
import signal
import ssl
import struct
import subprocess
import time
import traceback

from visitor import HOST, Visitor, token

TREE, COOKIES = "/srv/tree", "/srv/cookies.json"
AUTHORITY = f"/etc/ssl/{HOST}/fullchain.pem"
DATA, BACKUPS = "/var/lib/palpebra", "/var/backups/palpebra"
PATIENCE = 240


def tell(line):
    print(line, flush=True)


def run(command, expected=0):
    done = subprocess.run(["bash", "-euo", "pipefail", "-c", command], cwd=TREE, capture_output=True, text=True)
    said = done.stdout + done.stderr
    assert done.returncode == expected, f"{command}\n{done.returncode}: {said}"
    return said


def wait(what, until):
    """Asks again and again, since another program is to get somewhere by itself."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        got = until()
        if got:
            return got
        time.sleep(0.5)
    raise AssertionError(f"waited in vain: {what}")


def unit(key, name="palpebra"):
    return run(f"systemctl show -P {key} {name}").strip()


def process():
    return int(unit("MainPID"))


def log():
    return run("journalctl -u palpebra -o cat")


def owner(authority=AUTHORITY):
    """She who set the studio up, in the same browser."""
    browser = Visitor(443, ssl.create_default_context(cafile=authority))
    if os.path.exists(COOKIES):
        with open(COOKIES) as file:
            browser.cookies = json.load(file)
    return browser


def post(browser, path, form, leads_to):
    _, _, page = browser.ask("GET", path)
    status, headers, page = browser.ask("POST", path, {"csrf": token(page)} | form)
    assert (status, headers.get("location")) == (303, leads_to), (path, status, headers, page)


def serves(browser):
    try:
        return browser.ask("GET", "/owner")[0] == 200
    except OSError:
        return False


def readme():
    """Its commands: to put the files in place, to start, and to look."""
    with open(f"{TREE}/README.md") as file:
        section = file.read().split("### From an empty server to HTTPS")[1].split("\n### ")[0]
    return re.findall(r"```\n(.*?)```", section, re.S)


def install():
    files, start, _ = readme()
    run(files)
    code = re.search(r"Set-up code: (\w+)", run(start)).group(1)
    assert (unit("ActiveState"), unit("SubState")) == ("active", "running")
    tell("ok: installed with the commands of README.md")

    run("systemctl disable --now caddy")
    run(
        f"mkdir -p /etc/ssl/{HOST} && cd /etc/ssl/{HOST} && openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 "
        f"-nodes -days 30 -subj /CN={HOST} -addext subjectAltName=DNS:{HOST} -keyout key.pem -out fullchain.pem"
    )
    run("systemctl start nginx && cp deploy/nginx.conf /etc/nginx/conf.d/palpebra.conf && nginx -t && systemctl reload nginx")
    set_up(code)


def set_up(code):
    browser = owner()
    wait("nginx answers", lambda: browser.ask("GET", "/set-up")[0] == 200)
    form = {
        "code": code, "studio": "Quiet Lantern", "language": "en", "zone": "Europe/Berlin", "currency": "EUR",
        "name": "Ida Ünal", "mail": "ida@example.org", "password": "seven damp umbrellas",
    }
    post(browser, "/set-up", form, "/owner")
    _, _, page = browser.ask("GET", "/team/second-factor")
    secret = re.search(r'<code class="secret">([^<]+)<', page).group(1)
    status, _, page = browser.ask("POST", "/team/second-factor", {"csrf": token(page), "code": code_of_app(secret)})
    assert status in (200, 303), (status, page)
    assert serves(browser)
    with open(COOKIES, "w") as file:
        json.dump(browser.cookies, file)
    run("sync")
    tell("ok: the studio is set up, through nginx, and its owner signed in")


def code_of_app(secret):
    """RFC 6238."""
    letters = re.sub(r"\s", "", secret)
    key = base64.b32decode(letters + "=" * (-len(letters) % 8))
    digest = hmac.new(key, struct.pack(">Q", int(time.time()) // 30), hashlib.sha1).digest()
    at = digest[-1] & 15
    return f"{(struct.unpack('>I', digest[at:at + 4])[0] & 0x7FFFFFFF) % 1000000:06}"


def looks_at_unit():
    wait("the first backup", lambda: glob.glob(f"{BACKUPS}/*.db"))
    wait("the audit's look", lambda: "the audit's chain holds" in log())
    with open(f"/proc/{process()}/status") as file:
        status = dict(line.rstrip("\n").split(":\t", 1) for line in file if ":\t" in line)
    assert status["Seccomp"] == "2" and status["NoNewPrivs"] == "1", status
    assert not any(int(status[name], 16) for name in ["CapInh", "CapPrm", "CapEff", "CapBnd", "CapAmb"]), status
    assert "0" not in status["Uid"].split(), status
    inside = f"nsenter -t {process()} -m setpriv --reuid palpebra --regid palpebra --clear-groups"
    writable = run(f"{inside} find / -writable -type d -not -path '/proc/*' 2>/dev/null || true").split()
    kept = (DATA, BACKUPS, "/tmp", "/var/tmp")
    assert {DATA, BACKUPS} <= set(writable), writable
    assert not [place for place in writable if not any(f"{place}/".startswith(f"{own}/") for own in kept)], writable
    others = run(f"find {DATA} {BACKUPS} -perm /077 -printf '%m %p\\n'")
    assert not others, f"others may read: {others}"
    exposure = run("systemd-analyze security --no-pager palpebra | tail -1").strip().lstrip("→ ")
    tell(f"ok: backup and audit's look inside the sandbox; no capability, no other place to write; {exposure}")


def looks_at_endings():
    browser, before = owner(), process()
    os.kill(before, signal.SIGKILL)
    wait("a new start after a kill", lambda: process() not in (0, before) and serves(browser))
    before = process()
    os.kill(before, signal.SIGSTOP)
    wait("a new start after a standstill", lambda: process() not in (0, before) and serves(browser))
    assert unit("NRestarts") == "2", unit("NRestarts")
    tell("ok: started anew after a kill, and by the watchdog after a standstill; she is still signed in")


def looks_at_other_users():
    said = run("palpebra --config /etc/palpebra/settings.toml doctor", expected=77)
    assert "runuser" in said, said
    _, _, doctor = readme()
    run(doctor)
    run("runuser -u nobody -- palpebra --config /etc/palpebra/settings.toml settings", expected=78)
    tell("ok: root and others are kept out of the data folder, its own user is not")


def adds_rooms(number):
    browser = owner()
    wait("it serves by itself after a start", lambda: serves(browser))
    while True:
        number += 1
        post(browser, "/owner/rooms", {"name": f"Room {number}"}, "/owner/rooms?added")
        tell(f"added {number}")


def rooms():
    browser = owner()
    wait("it serves by itself after a start", lambda: serves(browser))
    return sorted(int(number) for number in set(re.findall(r"Room (\d+)\b", browser.ask("GET", "/owner/rooms")[2])))


def after_cut(answered):
    there = [number for number in rooms() if number > 0]
    assert there in (list(range(1, answered + 1)), list(range(1, answered + 2))), (answered, there)
    run("runuser -u palpebra -- palpebra --config /etc/palpebra/settings.toml doctor")
    tell(f"ok: {answered} rooms were answered and {len(there)} are there after the power was cut")
    return len(there)


def sends_log_on():
    run("mkdir -p /srv/elsewhere")
    command = ["/lib/systemd/systemd-journal-remote", "--listen-http=127.0.0.1:19532", "--output=/srv/elsewhere"]
    elsewhere = subprocess.Popen(command)
    with open("/etc/systemd/journal-upload.conf", "w") as file:
        file.write("[Upload]\nURL=http://127.0.0.1:19532\n")
    run("systemctl restart systemd-journal-upload")
    there = "journalctl --directory=/srv/elsewhere -u palpebra -o cat"
    wait("the log elsewhere", lambda: "the audit's chain holds" in run(f"{there} || true"))
    run("systemctl stop systemd-journal-upload")
    elsewhere.terminate()
    elsewhere.wait()
    tell("ok: the audit's last row reaches another journal with systemd-journal-upload")


def behind_caddy():
    run("systemctl disable --now nginx")
    with open(f"{TREE}/deploy/Caddyfile") as file:
        sample = file.read()
    # Nobody on the network vouches for this machine: it makes its own certificates.
    with open("/etc/caddy/Caddyfile", "w") as file:
        file.write(sample.replace("\n{\n", "\n{\n\tlocal_certs\n\tskip_install_trust\n", 1))
    run("caddy validate --adapter caddyfile --config /etc/caddy/Caddyfile && systemctl enable --now caddy")
    authority = "/var/lib/caddy/.local/share/caddy/pki/authorities/local/root.crt"
    wait("Caddy's certificate", lambda: os.path.exists(authority) and serves(owner(authority)))
    post(owner(authority), "/owner/rooms", {"name": "Behind Caddy"}, "/owner/rooms?added")
    run("cp deploy/Caddyfile /etc/caddy/Caddyfile && caddy validate --adapter caddyfile --config /etc/caddy/Caddyfile")
    tell("ok: the other web server, Caddy, passes on pages and forms")
    return authority


def puts_back(authority):
    as_user = "runuser -u palpebra -- palpebra --config /etc/palpebra/settings.toml"
    run(f"{as_user} backup")
    newest = max(glob.glob(f"{BACKUPS}/*.db"))
    post(owner(authority), "/owner/rooms", {"name": "After the backup"}, "/owner/rooms?added")
    run("systemctl stop palpebra")
    assert (unit("Result"), unit("ExecMainStatus")) == ("success", "0"), (unit("Result"), unit("ExecMainStatus"))
    run(f"{as_user} restore --from {newest}")
    run("systemctl start palpebra")
    browser = owner(authority)
    wait("it serves what was put back", lambda: serves(browser))
    page = browser.ask("GET", "/owner/rooms")[2]
    assert "Behind Caddy" in page and "After the backup" not in page, page
    run(f"{as_user} doctor")
    run("systemctl stop palpebra")
    tell("ok: stopped with 0, and a backup was put back")


def main():
    with open("/proc/cmdline") as file:
        words = dict(word.split("=", 1) for word in file.read().split() if "=" in word)
    part, answered = words["look"], int(words["answered"])
    if part == "install":
        install()
        looks_at_endings()
        looks_at_unit()
        looks_at_other_users()
        adds_rooms(0)
    number = after_cut(answered)
    if part == "cut":
        adds_rooms(number)
    sends_log_on()
    puts_back(behind_caddy())
    tell("everything held")


try:
    main()
except BaseException:
    traceback.print_exc()
    print(subprocess.run(["journalctl", "-b", "-n", "40", "--no-pager"], capture_output=True, text=True).stdout, flush=True)
    time.sleep(2)  # the console's bytes are still on their way when the machine is switched off
    raise
