"""A person at the desk: sees what readers of screens are told, presses and types by the X server. See run.sh."""
import filecmp
import os
import pathlib
import re
import shutil
import subprocess
import sys
import time

import gi

gi.require_version("Atspi", "2.0")
from gi.repository import Atspi, Gio, GLib

PROGRAMS, SCRATCH = map(pathlib.Path, sys.argv[1:3])
PATIENCE = 90.0
SIZE = (1360, 860)
PATCH = "by-session"


def tatter(*words, cwd):
    subprocess.run([PROGRAMS / "tatter", *map(str, words), "--quiet"], cwd=cwd, check=True, stdout=subprocess.DEVNULL)


def display():
    """A screen of our own: the server picks a free number."""
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", f"{SIZE[0]}x{SIZE[1]}x24", "-nolisten", "tcp"],
        pass_fds=[write], stderr=subprocess.DEVNULL)
    os.close(write)
    number = os.read(read, 16).decode().strip()
    os.environ["DISPLAY"] = f":{number}"
    return server


def wake_readers():
    """Say that a reader of screens is there, so that programs tell it what they show."""
    launcher = next(path for path in ("/usr/libexec/at-spi-bus-launcher", "/usr/lib/at-spi2-core/at-spi-bus-launcher")
                    if os.path.exists(path))
    started = subprocess.Popen([launcher, "--launch-immediately"], stderr=subprocess.DEVNULL)
    bus = Gio.bus_get_sync(Gio.BusType.SESSION)
    enabled = GLib.Variant("(ssv)", ("org.a11y.Status", "IsEnabled", GLib.Variant("b", True)))
    for _ in range(50):
        try:
            bus.call_sync("org.a11y.Bus", "/org/a11y/bus", "org.freedesktop.DBus.Properties", "Set", enabled, None, 0, -1, None)
            return started
        except GLib.Error:
            time.sleep(0.1)
    raise SystemExit("The AT-SPI bus did not start.")


def nodes(node):
    yield node
    for at in range(node.get_child_count()):
        child = node.get_child_at_index(at)
        if child:
            yield from nodes(child)


def shown():
    """All that the desk shows now."""
    desktop = Atspi.get_desktop(0)
    for at in range(desktop.get_child_count()):
        program = desktop.get_child_at_index(at)
        if program and "tatter" in (program.get_name() or "").lower():
            yield from nodes(program)


def text_of(node):
    words = [node.get_name() or ""]
    if "Text" in node.get_interfaces():
        words.append(Atspi.Text.get_text(node, 0, -1) or "")
    return " ".join(words)


def find(pattern, enabled=False):
    """The thing whose name or text fits, once it is there."""
    wanted = re.compile(pattern)
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        try:
            for node in shown():
                if wanted.search(text_of(node)) and (not enabled or node.get_state_set().contains(Atspi.StateType.ENABLED)):
                    return node
        except GLib.Error:
            pass  # It was taken away while it was looked at.
        time.sleep(0.2)
    picture("lost")
    names = sorted({text_of(node).strip() for node in shown()})
    raise SystemExit(f"Nothing called {pattern} is shown; there are: {names}")


def picture(name):
    if shutil.which("import"):
        subprocess.run(["import", "-window", "root", SCRATCH / f"{name}.png"], check=False)


def xdo(*words):
    subprocess.run(["xdotool", *map(str, words)], check=True)


def place(pattern, share=(0.5, 0.5), **how):
    node = find(pattern, **how)
    box = Atspi.Component.get_extents(node, Atspi.CoordType.SCREEN)
    return box.x + share[0] * box.width, box.y + share[1] * box.height, box


def press(pattern, **how):
    x, y, _ = place(pattern, **how)
    click(x, y)


def click(x, y):
    xdo("mousemove", round(x), round(y))
    time.sleep(0.2)
    xdo("click", 1)
    time.sleep(0.3)


def write(field, text):
    press(field)
    xdo("key", "ctrl+a")
    xdo("type", "--delay", "12", text)
    # The window may be slower than the hand.
    find(rf"{field.rstrip('$')}.* {re.escape(text)}$")


def at_the_desk(folder):
    desk = subprocess.Popen([PROGRAMS / "tatter-desk"], cwd=folder)
    try:
        window = subprocess.run(["xdotool", "search", "--sync", "--onlyvisible", "--pid", str(desk.pid)],
                                check=True, capture_output=True, text=True, timeout=PATIENCE).stdout.split()[0]
        xdo("windowmove", window, 0, 0)
        xdo("windowsize", window, *SIZE)
        xdo("windowfocus", window)
        find("Open the sample job")
        picture("1-start")
        write("^Job, photo or mesh", str(folder / "smock.tatter.toml"))
        xdo("key", "Return")
        find("Cutting list")
        xdo("key", "ctrl+1")
        write("^Photo file", str(folder / "photos" / "rope-burn.png"))
        xdo("key", "Return")
        find("This is the patch as it will be")
        write("^Name of the patch", PATCH)
        picture("2-photo")
        press("^Accept", enabled=True)
        find(rf"{PATCH}\.patch lies in")
        xdo("key", "ctrl+3")
        press(rf"^{PATCH}, ")
        find("^Flat view")
        _, _, box = place("^Flat view")
        side = min(box.width, box.height)
        click(box.x + 0.5 * box.width - 0.26 * side, box.y + 0.5 * box.height + 0.14 * side)
        find(f"^Remove {PATCH}-1")
        picture("3-garment")
        xdo("key", "ctrl+s")
        xdo("key", "ctrl+4")
        press("^Deliver$", enabled=True)
        find("^ ?(Delivered|Every texture)")
        picture("4-delivery")
    finally:
        desk.terminate()
        desk.wait()


def by_hand(folder, laid):
    tatter("cut", "photos/rope-burn.png", "-o", f"{PATCH}.patch", cwd=folder)
    tatter("place", "smock.tatter.toml", "--patch", f"{PATCH}.patch", "--at", ",".join(laid), cwd=folder)
    tatter("deliver", "smock.tatter.toml", cwd=folder)


def placement(job):
    """Where the desk laid the patch, as its job file says it."""
    text = job.read_text()
    entry = text[text.index(f'id = "{PATCH}-1"'):]
    return [number.strip() for number in re.search(r"at = \[([^\]]*)\]", entry).group(1).split(",")]


def compare(desk, hand):
    files = ["smock.tatter.toml"]
    files += [str(path.relative_to(hand)) for part in ("textures", f"{PATCH}.patch") for path in sorted((hand / part).iterdir())]
    theirs = [str(path.relative_to(desk)) for part in ("textures", f"{PATCH}.patch") for path in sorted((desk / part).iterdir())]
    if files[1:] != theirs:
        raise SystemExit(f"Other files: {theirs}, not {files[1:]}.")
    differ = [name for name in files if not filecmp.cmp(desk / name, hand / name, shallow=False)]
    if differ:
        raise SystemExit(f"Not what the command line makes: {', '.join(differ)}.")
    return len(files)


def main():
    began = time.monotonic()
    sample, desk, hand = SCRATCH / "sample", SCRATCH / "desk", SCRATCH / "hand"
    for folder in (sample, desk, hand):
        shutil.rmtree(folder, ignore_errors=True)
    tatter("demo", sample, cwd=SCRATCH)
    before = {path.name: path.read_bytes() for path in (sample / "textures").iterdir()}
    shutil.copytree(sample, desk)
    shutil.copytree(sample, hand)
    made = time.monotonic()
    server = display()
    readers = wake_readers()
    try:
        at_the_desk(desk)
    finally:
        for helper in (readers, server):
            helper.terminate()
            helper.wait()
    done = time.monotonic()
    by_hand(hand, placement(desk / "smock.tatter.toml"))
    count = compare(desk, hand)
    changed = sum((desk / "textures" / name).read_bytes() != bytes_ for name, bytes_ in before.items())
    if changed == 0:
        raise SystemExit("Nothing was delivered.")
    print(f"The desk made {count} files as the command line makes them, {changed} textures delivered anew "
          f"({made - began:.0f} s for the sample, {done - made:.0f} s at the desk, {time.monotonic() - done:.0f} s by hand).")


main()
