"""Teach the net of crates/tatter-cloth/src/relief/net.rs on woven scenes, on a CUDA device.

    for i in $(seq 0 31); do target/release/tatter-quality lessons lessons/l$i.bin $((400000 + i * 150)) 150; done
    target/release/tatter-quality lessons lessons/board.bin
    python3 tools/relief_net/train.py lessons net.f32 600 [BEFORE.f32]

Prints, for the work list of the scoreboard, the error of normals over that of brightness as height, and at the end the values
that the test of net.rs holds. The weights in the repository learned from 5600 scenes (seeds from 200000, 9500 steps) and then
from 4200 others (from 400000, 15 700 steps, cosine from 2e-3); PyTorch 2.11, one H100, ten minutes in all.
"""

import glob
import math
import sys
import time

import numpy as np
import torch
import torch.nn as nn
import torch.nn.functional as F

DEVICE = "cuda"
PLANES = 6  # log luminance, red to green, blue to green | height, opacity, log of light over dye
HALF, QUARTER, BLOCKS, KNOWN, HIDDEN = 16, 32, 8, 10, 24


def load(paths, side):
    record = 64 + PLANES * side * side * 2
    heads, planes = [], []
    for path in paths:
        raw = np.fromfile(path, dtype=np.uint8)
        raw = raw[: len(raw) // record * record].reshape(-1, record)
        heads.append(raw[:, :64].copy().view("<f4"))
        planes.append(raw[:, 64:].copy().view("<f2").reshape(-1, PLANES, side, side))
    head, plane = torch.from_numpy(np.concatenate(heads)), torch.from_numpy(np.concatenate(planes))
    whole = torch.isfinite(head).all(1) & torch.isfinite(plane.float()).all(3).all(2).all(1)
    head, plane = head[whole].to(DEVICE), plane[whole].to(DEVICE)
    head[:, 15] = 1  # whether the threads are counted
    return head, plane


def known(h):
    trust, counted = h[:, 7:8], h[:, 15:16]
    spacing = [counted * torch.log(h[:, k : k + 1] / 10) for k in (1, 2)]
    grain = [counted * (2 * h[:, 3:4] ** 2 - 1), counted * 2 * h[:, 3:4] * h[:, 4:5]]
    return torch.cat([counted, trust * h[:, 5:7], trust, h[:, 9:10], trust * (h[:, 8:9] - 45) / 20, *spacing, *grain], 1)


def varied(h, p):
    """Turned and mirrored; a dye of stripes, checks or blots laid over it; noise; more or less contrast."""
    h = h.clone()
    if torch.rand(1) < 0.5:
        p, h[:, 5], h[:, 3] = p.flip(-1), -h[:, 5], -h[:, 3]
    if torch.rand(1) < 0.5:
        p, h[:, 6], h[:, 4] = p.flip(-2), -h[:, 6], -h[:, 4]
    if torch.rand(1) < 0.5:
        p = p.transpose(-1, -2)
        h[:, [5, 6]], h[:, [3, 4]] = -h[:, [6, 5]], -h[:, [4, 3]]
    n, side = len(h), p.shape[-1]
    h[:, 15] = (torch.rand(n, device=DEVICE) > 0.12).float()

    def some(share):
        return (torch.rand(n, device=DEVICE) < share).float()[:, None, None]

    def between(a, b):
        return (a + (b - a) * torch.rand(n, device=DEVICE))[:, None, None]

    grid = torch.arange(side, device=DEVICE) * 1.0
    yy, xx = torch.meshgrid(grid, grid, indexing="ij")
    pitch = (h[:, 1] * h[:, 2]).sqrt()[:, None, None]
    dye = torch.zeros(n, side, side, device=DEVICE)
    for cos, sin in ((h[:, 3], h[:, 4]), (h[:, 4], -h[:, 3])):
        across = (xx * sin[:, None, None] + yy * cos[:, None, None]) / pitch
        wave = torch.sin(2 * math.pi * (across / 2 ** between(1.0, 4.5) + between(0, 1))) + between(-0.6, 0.6)
        dye = dye + some(0.25) * between(-0.6, 0.6) * torch.sigmoid(wave * between(4, 20))
    blots = F.interpolate(torch.randn(n, 1, 7, 7, device=DEVICE), size=(side, side), mode="bicubic")[:, 0]
    dye = dye + some(0.2) * between(0.05, 0.35) * blots
    seen, truth = p[:, :3].float().clone(), p[:, 3:].float()
    cloth = (seen[:, 0] != 0).float()
    seen[:, 0] += cloth * dye
    for k in (1, 2):
        seen[:, k] += cloth * dye * between(-0.8, 0.8) * some(0.6)
    seen[:, 0] += cloth * torch.randn(n, side, side, device=DEVICE) * between(0, 0.05) * some(0.4)
    seen[:, 0] *= 1 + between(-0.2, 0.25) * some(0.4)
    return h, torch.cat([seen, truth], 1)


BELL = torch.exp(-(torch.arange(-3, 4.0) ** 2) / (2 * 0.25))
BELL = (BELL / BELL.sum()).to(DEVICE)


def soft(x):
    x = F.pad(x, (3, 3, 3, 3), mode="replicate")
    return F.conv2d(F.conv2d(x, BELL.view(1, 1, 1, 7)), BELL.view(1, 1, 7, 1))


def normals(height):
    x = F.pad(height, (1, 1, 1, 1), mode="replicate")
    p, q = (x[:, :, 1:-1, 2:] - x[:, :, 1:-1, :-2]) / 2, (x[:, :, 2:, 1:-1] - x[:, :, :-2, 1:-1]) / 2
    n = torch.cat([-p, -q, torch.ones_like(p)], 1)
    return n / n.norm(dim=1, keepdim=True)


class Scaled(nn.Module):
    """A layer whose channels are scaled and shifted by what is known."""

    def __init__(self, layer, outputs):
        super().__init__()
        self.layer = layer
        self.first, self.second = nn.Linear(KNOWN, HIDDEN), nn.Linear(HIDDEN, 2 * outputs)
        nn.init.zeros_(self.second.weight)
        nn.init.zeros_(self.second.bias)

    def forward(self, x, c):
        a, b = self.second(F.relu(self.first(c))).chunk(2, 1)
        return self.layer(x) * (1 + a[:, :, None, None]) + b[:, :, None, None]


class Net(nn.Module):
    def __init__(self):
        super().__init__()
        self.enter = Scaled(nn.Conv2d(12, HALF, 3, padding=1), HALF)
        self.down = Scaled(nn.Conv2d(HALF, QUARTER, 2, stride=2), QUARTER)
        self.deep = nn.ModuleList(nn.Conv2d(QUARTER, QUARTER, 5, padding=2, groups=QUARTER) for _ in range(BLOCKS))
        self.point = nn.ModuleList(Scaled(nn.Conv2d(QUARTER, QUARTER, 1), QUARTER) for _ in range(BLOCKS))
        self.up = nn.Conv2d(QUARTER, 4 * HALF, 1)
        self.middle = Scaled(nn.Conv2d(HALF, HALF, 3, padding=1), HALF)
        self.leave, self.past = nn.Conv2d(HALF, 8, 3, padding=1), nn.Conv2d(12, 8, 1)

    def forward(self, x, c):
        x = F.pixel_unshuffle(x, 2)
        half = F.relu(self.enter(x, c))
        q = F.relu(self.down(half, c))
        for deep, point in zip(self.deep, self.point):
            q = q + F.relu(point(deep(q), c))
        y = F.relu(self.middle(F.relu(F.pixel_shuffle(self.up(q), 2) + half), c))
        return F.pixel_shuffle(self.leave(y) + self.past(x), 2)

    def tensors(self):
        """In the order of the file."""
        layers = [self.enter, self.down]
        for deep, point in zip(self.deep, self.point):
            layers += [deep, point]
        for layer in layers + [self.up, self.middle, self.leave, self.past]:
            for part in [layer.layer, layer.first, layer.second] if isinstance(layer, Scaled) else [layer]:
                yield from (part.weight, part.bias)


def inner_mean(values, mask):
    return (values * mask).sum((1, 2)) / mask.sum((1, 2)).clamp(min=1)


def losses(net, h, p):
    """Angle of normals in degrees, error of log shading, error of height over a tenth of the spacing."""
    p = p.float()
    y = net(p[:, :3], known(h))
    mask = (p[:, 4] > 0.99).float()
    for edge in (mask[:, :8], mask[:, -8:], mask[:, :, :8], mask[:, :, -8:]):
        edge.zero_()
    chord = (normals(y[:, :1]) - normals(soft(p[:, 3:4]))).norm(dim=1).clamp(1e-4, 1.9999)
    angle = inner_mean(2 * torch.rad2deg(torch.asin(chord / 2)), mask)
    centred = lambda v: v - inner_mean(v, mask)[:, None, None]
    shading = inner_mean((centred(y[:, 1]) - centred(p[:, 5])).abs(), mask)
    spacing = (h[:, 1] * h[:, 2]).sqrt()
    height = inner_mean((centred(y[:, 0]) - centred(p[:, 3])).abs(), mask) / (0.1 * spacing)
    return angle, shading, height


def show(net, board, text):
    with torch.no_grad():
        angles = torch.cat([losses(net, board[0][i : i + 1], board[1][i : i + 1])[0] for i in range(len(board[0]))])
    ours, brightness = angles.view(-1, 5).cpu(), board[0][:, 10].view(-1, 5).cpu()
    ratio = lambda k: (ours[:, k].mean() / brightness[:, k].mean()).item()
    print(f"{text}: told {ratio([0, 1]):.3f} found {ratio([2, 3]):.3f} soft {ratio([4]):.3f}", flush=True)


def read_weights(net, path):
    values = torch.from_numpy(np.fromfile(path, dtype="<f4")).to(DEVICE)
    with torch.no_grad():
        for tensor in net.tensors():
            tensor.copy_(values[: tensor.numel()].view_as(tensor))
            values = values[tensor.numel() :]
    assert len(values) == 0, "the file holds this net and no more"


def write_weights(net, path):
    torch.cat([t.detach().flatten() for t in net.tensors()]).cpu().numpy().astype("<f4").tofile(path)


def print_test(net):
    """Values for the test of net.rs."""
    rows, columns = torch.arange(24, device=DEVICE) * 1.0, torch.arange(36, device=DEVICE) * 1.0
    yy, xx = torch.meshgrid(rows, columns, indexing="ij")
    luma = 0.4 * torch.sin(0.7 * xx + 0.2 * yy) + 0.2 * torch.cos(0.9 * yy)
    x = torch.stack([luma, 0.1 * torch.sin(0.3 * xx), 0.05 * torch.cos(0.4 * yy)])[None]
    c = torch.tensor([[1.0, 0.6, 0.8, 1.0, 1.0, 0.5, 0.1, -0.1, -0.5, 0.3]], device=DEVICE)
    torch.backends.cudnn.allow_tf32 = torch.backends.cuda.matmul.allow_tf32 = False
    with torch.no_grad():
        y = net(x, c)[0]
    for a, b in [(0, 0), (5, 3), (35, 23), (17, 11), (20, 12), (34, 0)]:
        print(f"({a}, {b}, {y[0, b, a]:.6f}, {y[1, b, a]:.6f})")


def main(folder, out, seconds, before=None):
    torch.backends.cudnn.allow_tf32 = torch.backends.cuda.matmul.allow_tf32 = True
    heads, planes = load(sorted(glob.glob(folder + "/l*.bin")), 192)
    board = load([folder + "/board.bin"], 256)
    net = Net().to(DEVICE)
    if before:
        read_weights(net, before)
        show(net, board, "before")
    rate = 2e-3 if before else 3e-3
    learner = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-4)
    mean = {k: v.detach().clone() for k, v in net.state_dict().items()}
    start, step = time.time(), 0
    while (t := (time.time() - start) / float(seconds)) < 1:
        for group in learner.param_groups:
            group["lr"] = rate * min(1, step / 200) * (0.5 + 0.5 * math.cos(math.pi * t)) + 1e-6
        some = torch.randint(0, len(heads), (48,), device=DEVICE)
        h, p = varied(heads[some], planes[some])
        angle, shading, height = losses(net, h, p)
        loss = (angle / h[:, 10].clamp(min=5)).mean() + shading.mean() + 0.15 * height.mean()
        learner.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        learner.step()
        step += 1
        if step % 4 == 0:
            keep = min(0.997, (step // 4 + 1) / (step // 4 + 10))
            with torch.no_grad():
                for k, v in net.state_dict().items():
                    mean[k].mul_(keep).add_(v, alpha=1 - keep)
    net.load_state_dict(mean)
    show(net, board, f"after {step} steps on {len(heads)} scenes")
    write_weights(net, out)
    print_test(net)


if __name__ == "__main__":
    main(*sys.argv[1:])
