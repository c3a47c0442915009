"""Starts a computer of its own, an emulated one with Debian and systemd, and has look.py try there what README.md says.

    boot.py ROOT PROGRAM FOLDER [CUTS]

ROOT is a system as debootstrap made it, PROGRAM the program, FOLDER takes the disk and what was said. The power is cut CUTS times
(5) while the owner saves; what the machine's own kernel had not written to the disk by then is lost. Prints a line for each thing
that held; ends with 1 and what was said when something did not.
"""

import glob
import os
import random
import re
import shutil
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
TREE = os.path.dirname(os.path.dirname(HERE))
UNIT = """[Unit]
After=basic.target dbus.service

[Service]
Environment=PYTHONUNBUFFERED=1 HOME=/root
ExecStart=/usr/bin/python3 /srv/look.py
StandardOutput=file:/dev/ttyS1
StandardError=file:/dev/ttyS1
ExecStopPost=/usr/bin/systemctl poweroff --no-block
"""
LONGEST = 900


def put(root, place, text):
    path = f"{root}{place}"
    os.makedirs(os.path.dirname(path), exist_ok=True)
    with open(path, "w") as file:
        file.write(text)


def make_disk(root, program, disk):
    tree = f"{root}/srv/tree"
    shutil.rmtree(f"{root}/srv", ignore_errors=True)
    os.makedirs(f"{tree}/target/release")
    shutil.copy(program, f"{tree}/target/release/palpebra")
    shutil.copy(f"{TREE}/README.md", tree)
    shutil.copytree(f"{TREE}/deploy", f"{tree}/deploy")
    for source in [f"{HERE}/look.py", f"{TREE}/tests/reference/visitor.py"]:
        shutil.copy(source, f"{root}/srv")
    put(root, "/etc/hostname", "machine\n")
    put(root, "/etc/hosts", "127.0.0.1 localhost machine book.example.org\n")
    put(root, "/etc/fstab", "/dev/vda / ext4 defaults 0 1\n")
    put(root, "/etc/systemd/system/look.service", UNIT)
    wants = f"{root}/etc/systemd/system/multi-user.target.wants"
    os.makedirs(wants, exist_ok=True)
    if not os.path.lexists(f"{wants}/look.service"):
        os.symlink("../look.service", f"{wants}/look.service")
    if os.path.exists(disk):
        os.remove(disk)
    subprocess.run(["mke2fs", "-q", "-t", "ext4", "-d", root, disk, "3G"], check=True, stdout=subprocess.DEVNULL)


def boot(root, folder, part, answered, cut_after=None):
    """Runs the machine once. With `cut_after` its power goes at some moment after so many rooms were answered. Says how many were."""
    said, console = f"{folder}/{part}.txt", f"{folder}/{part}-console.txt"
    open(said, "w").close()
    [kernel], [initial] = glob.glob(f"{root}/boot/vmlinuz-*"), glob.glob(f"{root}/boot/initrd.img-*")
    machine = subprocess.Popen([
        "qemu-system-x86_64", "-accel", "tcg,thread=multi", "-cpu", "max", "-m", "1024", "-smp", "2",
        "-nodefaults", "-nographic", "-no-reboot", "-nic", "none",
        "-kernel", kernel, "-initrd", initial,
        "-append", f"root=/dev/vda rw console=ttyS0 look={part.rstrip('0123456789')} answered={answered}",
        "-drive", f"file={folder}/disk.img,format=raw,if=virtio",
        "-serial", f"file:{console}", "-serial", f"file:{said}",
    ])
    end, shown = time.monotonic() + LONGEST, 0
    try:
        while True:
            ended = machine.poll() is not None
            with open(said) as file:
                lines = [line.strip() for line in file.read().split("\n")[:-1]]
            for line in lines[shown:]:
                if line.startswith("ok: "):
                    print(f"    {line}", flush=True)
            shown = len(lines)
            added = [int(line.split()[1]) for line in lines if re.fullmatch(r"added \d+", line)]
            if cut_after is not None and len(added) >= cut_after:
                time.sleep(random.random())
                machine.kill()
                machine.wait()
                with open(said) as file:
                    return int(re.findall(r"(?m)^added (\d+)\r?$", file.read())[-1])
            if ended and cut_after is None and lines and lines[-1] == "everything held":
                return answered
            if ended or time.monotonic() > end:
                sys.exit("\n".join([line for line in lines if not line.startswith("ok: ")][-40:] + [f"the machine ended too soon, or never: see {said} and {console}"]))
            time.sleep(0.05)
    finally:
        if machine.poll() is None:
            machine.kill()


def main(root, program, folder, cuts="5"):
    os.makedirs(folder, exist_ok=True)
    make_disk(root, program, f"{folder}/disk.img")
    answered = 0
    for cut in range(int(cuts)):
        part = "install" if cut == 0 else f"cut{cut}"
        answered = boot(root, folder, part, answered, cut_after=random.randint(1, 12))
    boot(root, folder, "last", answered)
    os.remove(f"{folder}/disk.img")


main(*sys.argv[1:])
