"""A person at the desk: sees what readers of screens are told, presses and types by the X server. See run.sh."""
import filecmp
import os
import pathlib
import re
import shutil
import struct
import subprocess
import sys
import time
import zlib

import gi

gi.require_version("Atspi", "2.0")
from gi.repository import Atspi, Gio, GLib

PROGRAMS, SCRATCH = map(pathlib.Path, sys.argv[1:3])
# A photo, the millimetres of cloth that it shows from left to right, and a garment's mesh; else those of the sample job.
OWN = sys.argv[3:6]
PATIENCE = 90.0
SIZE = (1360, 860)
PATCH = "by-session"
# Until a picture in software has become fine, seconds.
REST = 6.0


def tatter(*words, cwd):
    subprocess.run([PROGRAMS / "tatter", *map(str, words), "--quiet"], cwd=cwd, check=True, stdout=subprocess.DEVNULL)


def display():
    """A screen of our own: the server picks a free number."""
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", f"{SIZE[0]}x{SIZE[1]}x24", "-fbdir", str(SCRATCH), "-nolisten", "tcp"],
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
        try:
            words.append(Atspi.Text.get_text(node, 0, -1) or "")
        except GLib.Error:
            pass  # An empty field has none.
    return " ".join(words)


def find(pattern, enabled=False, patience=None):
    """The thing whose name or text fits, once it is there. When it does not come all ends, but with a patience of its own it is None."""
    wanted = re.compile(pattern)
    end = time.monotonic() + (patience or PATIENCE)
    while time.monotonic() < end:
        try:
            for node in shown():
                if wanted.search(text_of(node)) and (not enabled or node.get_state_set().contains(Atspi.StateType.ENABLED)):
                    return node
        except GLib.Error:
            pass  # It was taken away while it was looked at.
        time.sleep(0.2)
    if patience:
        return None
    picture("lost")
    names = sorted({text_of(node).strip() for node in shown()})
    raise SystemExit(f"Nothing called {pattern} is shown; there are: {names}")


def picture(name):
    """What the screen shows, as PNG, with the pointer out of the way. The server keeps it in a file as X Window Dump: a header of words, colours, rows of blue, green, red, nothing."""
    xdo("mousemove", SIZE[0] // 2, 30)
    time.sleep(1.0)
    dump = (SCRATCH / "Xvfb_screen0").read_bytes()
    header = struct.unpack(">25I", dump[:100])
    width, height, stride = header[4], header[5], header[12]
    first = header[0] + 12 * header[19]
    rows = bytearray()
    for y in range(height):
        row = dump[first + y * stride:first + y * stride + 4 * width]
        rgb = bytearray(3 * width)
        rgb[0::3], rgb[1::3], rgb[2::3] = row[2::4], row[1::4], row[0::4]
        rows += b"\0" + rgb
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
    size = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = chunk(b"IHDR", size) + chunk(b"IDAT", zlib.compress(bytes(rows))) + chunk(b"IEND", b"")
    (SCRATCH / f"{name}.png").write_bytes(b"\x89PNG\r\n\x1a\n" + parts)


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


def drag(start, end):
    """Press, move in ten steps, let go."""
    xdo("mousemove", round(start[0]), round(start[1]))
    time.sleep(0.2)
    xdo("mousedown", 1)
    for step in range(1, 11):
        xdo("mousemove", *(round(a + (b - a) * step / 10) for a, b in zip(start, end)))
        time.sleep(0.1)
    xdo("mouseup", 1)


def draw_out(factor):
    """Drag the piece's handle for its size away from its middle."""
    (x, y, _), (size_x, size_y, _) = place(f"^Move {PATCH}-1"), place(f"^Size {PATCH}-1")
    drag((size_x, size_y), (x + factor * (size_x - x), y + factor * (size_y - y)))


def write(field, text):
    press(field)
    xdo("key", "ctrl+a")
    xdo("type", "--delay", "12", text)
    # The window may be slower than the hand.
    find(rf"{field.rstrip('$')}.* {re.escape(text)}$")


class Sample:
    """The sample job and the photo of a rope burn that comes with it."""
    job, photo, told = "smock.tatter.toml", "photos/rope-burn.png", []
    # How much larger the piece is made by its handle.
    larger = 1.2

    def make(self, folder):
        tatter("demo", folder, cwd=SCRATCH)

    def begin_by_hand(self, folder):
        pass

    def begin(self, folder):
        write("^Job, photo or mesh", str(folder / self.job))
        xdo("key", "Return")

    def tell(self):
        pass

    def touch(self):
        """On a sleeve, below its seam."""
        _, _, box = place("^Flat view")
        side = min(box.width, box.height)
        click(box.x + 0.5 * box.width - 0.26 * side, box.y + 0.5 * box.height + 0.14 * side)


class Own(Sample):
    """A photo and a garment of somebody's own: no job yet, and a scale that must be told."""
    larger = 4.0

    def __init__(self, photo, millimetres, mesh):
        self.source, self.mesh, self.width = pathlib.Path(photo), pathlib.Path(mesh), millimetres
        self.job, self.photo = f"{self.mesh.stem}.tatter.toml", self.source.name
        self.told = ["--width-mm", millimetres]

    def make(self, folder):
        shutil.copytree(self.mesh.parent, folder)
        shutil.copy(self.source, folder)
        # Where they come from they may be for reading only.
        for path in (folder, *folder.rglob("*")):
            path.chmod(path.stat().st_mode | 0o200)

    def begin_by_hand(self, folder):
        tatter("garment", self.mesh.name, "-o", self.job, cwd=folder)

    def begin(self, folder):
        write("^Job, photo or mesh", str(folder / self.mesh.name))
        xdo("key", "Return")

    def tell(self):
        press("^Ruler line")
        write("^The scale as a number", self.width)
        xdo("key", "Return")
        find("^The photo shows .* mm from left to right")

    def touch(self):
        """Wherever there is cloth in front: beside it a touch lays nothing, and the patch stays in the hand."""
        _, _, box = place("^Solid view")
        for across, down in ((0.5, 0.5), (0.36, 0.45), (0.64, 0.45), (0.36, 0.65), (0.64, 0.65), (0.5, 0.3), (0.5, 0.7)):
            click(box.x + across * box.width, box.y + down * box.height)
            if find(f"^Remove {PATCH}-1", patience=4.0):
                return


def at_the_desk(folder, work):
    desk = subprocess.Popen([PROGRAMS / "tatter-desk"], cwd=folder)
    try:
        window = subprocess.run(["xdotool", "search", "--sync", "--onlyvisible", "--pid", str(desk.pid)],
                                check=True, capture_output=True, text=True, timeout=PATIENCE).stdout.split()[0]
        xdo("windowmove", window, 0, 0)
        xdo("windowsize", window, *SIZE)
        xdo("windowfocus", window)
        find("Open the sample job")
        picture("1-start")
        work.begin(folder)
        find("Cutting list")
        xdo("key", "ctrl+1")
        write("^Photo file", str(folder / work.photo))
        xdo("key", "Return")
        find("This is the patch as it will be")
        work.tell()
        find("This is the patch as it will be")
        write("^Name of the patch", PATCH)
        picture("2-photo")
        press("^Accept", enabled=True)
        find(rf"{PATCH}\.patch lies in")
        xdo("key", "ctrl+2")
        find("^How its maps came about")
        picture("3-patch")
        xdo("key", "ctrl+3")
        find("^Flat view")
        press(rf"^{PATCH}, ")
        find("^Touch the garment")
        work.touch()
        find(f"^Remove {PATCH}-1")
        draw_out(work.larger)
        time.sleep(REST)
        picture("4-garment")
        xdo("key", "ctrl+s")
        xdo("key", "ctrl+4")
        # First it looks over what would change.
        find(r"texels, (under )?[0-9]")
        press("^Deliver$", enabled=True)
        find("^ ?(Delivered|Every texture)")
        # The thread between before and after, far to the left.
        x, y, _ = place("^Before and after")
        drag((x, y), (0.15 * SIZE[0], y))
        time.sleep(REST)
        picture("5-delivery")
    finally:
        desk.terminate()
        desk.wait()


def by_hand(folder, work, laid):
    work.begin_by_hand(folder)
    tatter("cut", work.photo, "-o", f"{PATCH}.patch", *work.told, cwd=folder)
    tatter("place", work.job, "--patch", f"{PATCH}.patch", *laid, cwd=folder)
    tatter("deliver", work.job, cwd=folder)


def placement(job):
    """Where the desk laid the patch, as its job file says it."""
    text = job.read_text()
    entry = text[text.index(f'id = "{PATCH}-1"'):].split("[[")[0]
    key, numbers = re.search(r"(at|point) = \[([^\]]*)\]", entry).groups()
    at = ",".join(number.strip() for number in numbers.split(","))
    part = re.search(r'part = "([^"]*)"', entry)
    size = re.search(r"size_mm = ([0-9.]+)", entry)
    if not size:
        raise SystemExit("Dragging the handle changed no size.")
    spot = ["--on", f"{part.group(1)}:{at}"] if part else [f"--{key}={at}"]
    return [*spot, "--size-mm", size.group(1)]


def made_of(folder):
    """All files that are no part of what is kept beside the job."""
    files = (path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    return sorted(str(path) for path in files if not path.parts[0].endswith(".tatter"))


def compare(desk, hand):
    files, theirs = made_of(hand), made_of(desk)
    if files != theirs:
        raise SystemExit(f"Other files: {sorted(set(files) ^ set(theirs))}.")
    differ = [name for name in files if not filecmp.cmp(desk / name, hand / name, shallow=False)]
    if differ:
        raise SystemExit(f"Not what the command line makes: {', '.join(differ)}.")
    return files


def main():
    began = time.monotonic()
    work = Own(*OWN) if OWN else Sample()
    before, desk, hand = SCRATCH / "before", SCRATCH / "desk", SCRATCH / "hand"
    for folder in (before, desk, hand):
        shutil.rmtree(folder, ignore_errors=True)
    work.make(before)
    shutil.copytree(before, desk)
    shutil.copytree(before, hand)
    made = time.monotonic()
    server = display()
    readers = wake_readers()
    try:
        at_the_desk(desk, work)
    finally:
        for helper in (readers, server):
            helper.terminate()
            helper.wait()
    done = time.monotonic()
    by_hand(hand, work, placement(desk / work.job))
    files = compare(desk, hand)
    known = set(made_of(before))
    new = [name for name in files if name not in known]
    changed = [name for name in known if name != work.job and not filecmp.cmp(before / name, desk / name, shallow=False)]
    if not changed:
        raise SystemExit("Nothing was delivered.")
    print(f"The desk made {len(new) + len(changed)} files as the command line makes them, {len(changed)} textures delivered anew "
          f"({made - began:.0f} s to lay all ready, {done - made:.0f} s at the desk, {time.monotonic() - done:.0f} s by hand).")


main()
