"""Train the small network that proposes the eye, and write it as ONNX.

usage: eye_train.py --learn FILE ... --choose FILE ... --out FILE [--steps N] [--seconds S]
                    [--batch N] [--without PLAN ...]

The files of --learn and --choose come from `eye_training.py`. Needs torch and onnx, which haltere
itself does not.
The shipped model: `--steps 100000 --seconds 450` on 14,000 pictures (`eye_training.py --first
100000`, stopped after 420 s on 16 cores) and one data-centre GPU, which came to 16,365 steps.
Another machine gives nearly, not exactly, the same numbers, and so does a simulator changed since.

The network looks at a picture of about 384 x 288 px and answers on a grid of every eighth pixel:
0 how likely the nearer main eye is here (logit; with one more cell of logit 0 that stands for 'no
eye', the softmax over all cells is a probability), 1 whether an eye is here, 2 log2 of its radius
in px, 3 whether the main animal is here, 4 whether another one is. Eyes of another animal count
for 1 and 2, not for 0.
"""

from __future__ import annotations

import argparse
import json
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
import torch.nn.functional as F
from eye_training import beside_of
from torch import Tensor, nn

DEVICE = "cuda" if torch.cuda.is_available() else "cpu"
STRIDE = 8
OTHER_CELLS = 14  # a second animal of so many cells must be noticed
SEEN = 0.2  # share of an eye that must be visible for it to count
SHAPES = ((288, 384), (256, 384), (384, 288), (288, 288), (384, 256))


class Block(nn.Module):
    """Two convolutions past which the input goes straight on."""

    def __init__(self, n: int) -> None:
        super().__init__()
        self.a = nn.Conv2d(n, n, 3, padding=1, bias=False)
        self.b = nn.Conv2d(n, n, 3, padding=1, bias=False)
        self.na, self.nb = nn.BatchNorm2d(n), nn.BatchNorm2d(n)

    def forward(self, x: Tensor) -> Tensor:
        """Give what comes out, as large as what went in."""
        y = F.relu(self.na(self.a(x)))
        return F.relu(x + self.nb(self.b(y)))


def down(a: int, b: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(a, b, 3, stride=2, padding=1, bias=False), nn.BatchNorm2d(b), nn.ReLU()
    )


def plain(a: int, b: int) -> nn.Sequential:
    return nn.Sequential(nn.Conv2d(a, b, 3, padding=1, bias=False), nn.BatchNorm2d(b), nn.ReLU())


class Finder(nn.Module):
    """Down to every 32nd pixel and to the whole, back up to every eighth."""

    def __init__(self, widths: tuple[int, ...] = (16, 32, 56, 96, 112), neck: int = 48) -> None:
        super().__init__()
        a, b, c, d, e = widths
        self.d2 = down(3, a)
        self.d4 = nn.Sequential(down(a, b), Block(b))
        self.d8 = nn.Sequential(down(b, c), Block(c), Block(c))
        self.d16 = nn.Sequential(down(c, d), Block(d), Block(d))
        self.d32 = nn.Sequential(down(d, e), Block(e), Block(e), Block(e))
        self.whole = nn.Linear(e, e)
        self.from32, self.from16 = nn.Conv2d(e, d, 1), nn.Conv2d(d, neck, 1)
        self.from8 = nn.Conv2d(c, neck, 1)
        self.join16, self.join8 = plain(d, d), plain(neck, neck)
        self.head = nn.Sequential(plain(neck, neck), nn.Conv2d(neck, 5, 1))
        nn.init.constant_(self.head[1].bias, -2.0)

    def forward(self, x: Tensor) -> Tensor:
        """Give the grid (n, 5, h / 8, w / 8)."""
        x8 = self.d8(self.d4(self.d2(x)))
        x16 = self.d16(x8)
        x32 = self.d32(x16)
        x32 = x32 + self.whole(x32.mean((2, 3)))[..., None, None]
        up16 = F.interpolate(self.from32(x32), scale_factor=2.0, mode="nearest")
        x16 = self.join16(F.relu(x16 + up16))
        up8 = F.interpolate(self.from16(x16), scale_factor=2.0, mode="nearest")
        x8 = self.join8(F.relu(self.from8(x8) + up8))
        return self.head(x8)


def load(path: Path) -> dict[str, Any]:
    """Pictures (n, 3, H, W) and parts (n, 2, H/4, W/4) as uint8 tensors, truth, plans."""
    d = np.load(path)
    n = len(d["truth"])

    def piece(kind: str, k: int, how: int) -> np.ndarray:
        at = d[f"{kind}_at"]
        return cv2.imdecode(files[kind][at[k] : at[k + 1]], how)

    files = {"jpeg": d["jpeg"], "parts": d["parts"]}
    ats = {f"{k}_at": d[f"{k}_at"] for k in files}
    first = cv2.imdecode(files["jpeg"][: ats["jpeg_at"][1]], cv2.IMREAD_COLOR)
    h, w = first.shape[:2]
    rgb = torch.empty((n, 3, h, w), dtype=torch.uint8)
    parts = torch.empty((n, 2, h // 4, w // 4), dtype=torch.uint8)

    def one(k: int) -> None:
        j, p = ats["jpeg_at"], ats["parts_at"]
        bgr = cv2.imdecode(files["jpeg"][j[k] : j[k + 1]], cv2.IMREAD_COLOR)
        rgb[k] = torch.from_numpy(np.ascontiguousarray(bgr[..., ::-1].transpose(2, 0, 1)))
        m = cv2.imdecode(files["parts"][p[k] : p[k + 1]], cv2.IMREAD_GRAYSCALE)
        parts[k, 0], parts[k, 1] = torch.from_numpy(m == 1), torch.from_numpy(m == 2)

    with ThreadPoolExecutor(16) as pool:
        list(pool.map(one, range(n)))
    truth = torch.from_numpy(d["truth"]).float()
    return {"rgb": rgb, "parts": parts, "truth": truth, "plan": d["plan"]}


def framed(
    rgb: Tensor, parts: Tensor, truth: Tensor, shape: tuple[int, int], gen: torch.Generator | None
) -> tuple[Tensor, Tensor, Tensor]:
    """Cut, turned and scaled; `gen` None only scales. Eyes: x, y, radius, seen, depth.

    Where a cut shows much more of the other animal, the two change places.
    """
    dev, n = rgb.device, len(rgb)
    h, w = rgb.shape[2:]
    oh, ow = shape

    def uniform(a: float, b: float) -> Tensor:
        return torch.rand(n, generator=gen, device=dev) * (b - a) + a

    eyes = truth[:, :20].reshape(n, 4, 5).clone()
    fit = max(oh / h, ow / w) if gen is not None else min(oh / h, ow / w)
    turn = torch.zeros(n, device=dev)
    flip = torch.ones(n, device=dev)
    zoom = torch.full((n,), fit, device=dev)
    centre = torch.tensor([(w - 1) / 2, (h - 1) / 2], device=dev).expand(n, 2).clone()
    if gen is not None:
        near = uniform(0, 1) < 0.3
        zoom = fit * torch.exp(torch.where(near, uniform(0.4, 1.0), uniform(-0.16, 0.5)))
        some = uniform(0, 1)
        turn = torch.where(some < 0.8, uniform(-1, 1) ** 3 * 0.7, uniform(-np.pi, np.pi))
        flip = torch.where(uniform(0, 1) < 0.5, -1.0, 1.0)
        # mostly somewhere about the eyes, so that they stay in the frame
        seen = (eyes[:, :2, 3:4] > SEEN).float()
        mean = (eyes[:, :2, :2] * seen).sum(1) / seen.sum(1).clamp(min=1)
        has = seen.sum(1)[:, 0] > 0
        reach = torch.stack([uniform(-0.45, 0.45) * ow, uniform(-0.45, 0.45) * oh], 1)
        near = mean + reach / zoom[:, None]
        lim = torch.stack([ow / 2 / zoom, oh / 2 / zoom], 1) * 0.8
        size = torch.tensor([w, h], device=dev)
        near = torch.minimum(torch.maximum(near, lim), size - lim)
        about = (has & (uniform(0, 1) < 0.8))[:, None]
        free = centre + torch.stack([uniform(-0.12, 0.12) * w, uniform(-0.12, 0.12) * h], 1)
        centre = torch.where(about, near, free)
    c, s = torch.cos(turn), torch.sin(turn)
    # from the new picture to the old: centre + turn @ flip @ (x - middle) / zoom
    m = torch.stack([torch.stack([c * flip, -s], 1), torch.stack([s * flip, c], 1)], 1)
    m = m / zoom[:, None, None]

    def sample(image: Tensor, step: int, scale: int) -> Tensor:
        gh, gw = oh // step, ow // step
        y, x = torch.meshgrid(
            torch.arange(gh, device=dev) + 0.5, torch.arange(gw, device=dev) + 0.5, indexing="ij"
        )
        out = torch.stack([x * step - 0.5 - (ow - 1) / 2, y * step - 0.5 - (oh - 1) / 2], -1)
        src = torch.einsum("nij,hwj->nhwi", m, out) + centre[:, None, None]
        unit = (src + 0.5) / torch.tensor([w, h], device=dev) * 2 - 1
        return F.grid_sample(image, unit, mode="bilinear", align_corners=False)

    image = rgb.float() / 255
    inside = torch.ones((n, 1, h, w), device=dev)
    got = sample(torch.cat([image, inside], 1), 1, 1)
    border = image[:, :, :6].mean((2, 3))[..., None, None]
    picture = got[:, :3] + (1 - got[:, 3:]) * border
    mask = F.avg_pool2d(sample(parts.float(), 4, 4), 2)
    inverse = torch.linalg.inv(m)
    at = torch.einsum("nij,nkj->nki", inverse, eyes[..., :2] - centre[:, None])
    at = at + torch.tensor([(ow - 1) / 2, (oh - 1) / 2], device=dev)
    eyes[..., :2] = at
    eyes[..., 2] = eyes[..., 2] * zoom[:, None]
    out = (at < 0).any(-1) | (at[..., 0] > ow - 1) | (at[..., 1] > oh - 1)
    eyes[..., 3] = torch.where(out, 0.0, eyes[..., 3])
    area = mask.sum((2, 3))
    change = area[:, 1] > 1.5 * area[:, 0]
    mask = torch.where(change[:, None, None, None], mask.flip(1), mask)
    eyes = torch.where(change[:, None, None], eyes[:, [2, 3, 0, 1]], eyes)
    return picture, mask, eyes


def developed(x: Tensor, gen: torch.Generator) -> Tensor:
    """Other colours, tone, blur and noise."""
    n, dev = len(x), x.device

    def uniform(a: float, b: float, *more: int) -> Tensor:
        return torch.rand((n, *(more or (1, 1, 1))), generator=gen, device=dev) * (b - a) + a

    grey = x.mean(1, keepdim=True)
    x = grey + (x - grey) * uniform(0.2, 1.5)
    a = uniform(-np.pi, np.pi) * (uniform(0, 1) < 0.4)  # turn hues about the grey axis
    c, s, third = torch.cos(a), torch.sin(a), 1 / 3
    even, odd = (1 - c) * third, s * third**0.5
    p, q, r = c + even, even - odd, even + odd
    x = torch.cat([
        p * x[:, :1] + q * x[:, 1:2] + r * x[:, 2:],
        r * x[:, :1] + p * x[:, 1:2] + q * x[:, 2:],
        q * x[:, :1] + r * x[:, 1:2] + p * x[:, 2:],
    ], 1)  # fmt: skip
    x = x * torch.exp(uniform(-0.15, 0.15, 3, 1, 1))
    x = x.clamp(1e-4, 1) ** torch.exp(uniform(-0.45, 0.45))
    x = (x - 0.4) * uniform(0.7, 1.3) + 0.4 + uniform(-0.12, 0.12)
    some = torch.arange(n, device=dev) < 0.4 * n  # the batch is in no order
    part = x[some]
    m = len(part)
    sigma = torch.exp(torch.rand((m, 1), generator=gen, device=dev) * 3.0 - 1.7)
    k = torch.arange(-9, 10, device=dev).float()
    g = torch.exp(-0.5 * (k / sigma) ** 2)
    g = (g / g.sum(1, keepdim=True)).repeat_interleave(3, 0)
    flat = part.reshape(1, 3 * m, *x.shape[2:])
    flat = F.conv2d(F.pad(flat, (9, 9, 0, 0), mode="reflect"), g[:, None, None], groups=3 * m)
    flat = F.conv2d(F.pad(flat, (0, 0, 9, 9), mode="reflect"), g[:, None, :, None], groups=3 * m)
    x = torch.cat([flat.reshape(part.shape), x[m:]])
    noise = torch.randn(x.shape, generator=gen, device=dev)
    return (x + noise * torch.exp(uniform(-6.5, -2.6))).clamp(0, 1)


def targets(eyes: Tensor, shape: tuple[int, int]) -> dict[str, Tensor]:
    """Tell what the grid should say; the last cell of "near" is 'no eye'."""
    n, dev = len(eyes), eyes.device
    main = eyes[:, :2]
    gh, gw = shape[0] // STRIDE, shape[1] // STRIDE
    y, x = torch.meshgrid(torch.arange(gh, device=dev), torch.arange(gw, device=dev), indexing="ij")
    at = (eyes[..., :2] + 0.5) / STRIDE - 0.5
    d2 = (x - at[..., :1, None]) ** 2 + (y - at[..., 1:2, None]) ** 2
    seen = eyes[..., 3] > SEEN
    bump = torch.exp(-0.5 * d2 / 0.7**2) * seen[..., None, None]
    share = bump[:, :2] / bump[:, :2].sum((2, 3), keepdim=True).clamp(min=1e-6)
    # an eye nearer by 0.15 of its radius is the nearer one; at equal depth either will do
    gap = (main[:, 1, 4] - main[:, 0, 4]) / 0.15
    first = torch.where(seen[:, 1], torch.sigmoid(gap), torch.ones_like(gap))
    first = torch.where(seen[:, 0], first, torch.zeros_like(gap))
    weight = torch.stack([first, torch.where(seen[:, 1], 1 - first, torch.zeros_like(gap))], 1)
    near = (share * weight[..., None, None]).sum(1).reshape(n, -1)
    none = (~seen[:, :2].any(1)).float()[:, None]
    radius = eyes[..., 2].clamp(min=1.0)
    wide = torch.exp(-0.5 * d2 / (0.35 * radius[..., None, None] / STRIDE).clamp(min=0.7) ** 2)
    wide = wide * seen[..., None, None]
    which = wide.argmax(1, keepdim=True)
    size = torch.log2(radius)[..., None, None].expand(-1, -1, gh, gw).gather(1, which)[:, 0]
    return {
        "near": torch.cat([near, none], 1), "any": wide.amax(1), "size": size,
    }  # fmt: skip


def loss_of(out: Tensor, want: dict[str, Tensor], mask: Tensor) -> Tensor:
    n = len(out)
    flat = torch.cat([out[:, 0].reshape(n, -1), torch.zeros((n, 1), device=out.device)], 1)
    near = -(want["near"] * F.log_softmax(flat.float(), 1)).sum(1).mean()
    some = F.binary_cross_entropy_with_logits(out[:, 1].float(), want["any"], reduction="none")
    weight = want["any"] * (want["any"] > 0.3)
    size = F.smooth_l1_loss(out[:, 2].float(), want["size"], reduction="none", beta=0.2) * weight
    size = size.sum() / weight.sum().clamp(min=1)
    main = F.binary_cross_entropy_with_logits(out[:, 3].float(), mask[:, 0])
    other = F.binary_cross_entropy_with_logits(out[:, 4].float(), mask[:, 1])
    area = mask[:, 1].sum((1, 2))
    told = (area == 0) | (area >= OTHER_CELLS)
    most = beside(out.float())
    there = F.binary_cross_entropy_with_logits(most, (area > 0).float(), reduction="none")
    there = (there * told).sum() / told.sum().clamp(min=1)
    return near + 4 * some.mean() + size + 1.5 * main + 5 * other + 0.3 * there


def beside(out: Tensor) -> Tensor:
    """Logit that another animal is in the picture: the mean of its likeliest cells."""
    return out[:, 4].flatten(1).topk(OTHER_CELLS, 1).values.mean(1)


@torch.no_grad()
def answers(net: nn.Module, data: dict[str, Any], shape: tuple[int, int]) -> dict[str, np.ndarray]:
    """Per picture: best place, radius, chance, chance of no eye, and the truth there."""
    kinds = ("at", "chance", "none", "radius", "eyes", "iou", "beside")
    rows: dict[str, list[Any]] = {k: [] for k in kinds}
    gh, gw = shape[0] // STRIDE, shape[1] // STRIDE
    for k in range(0, len(data["rgb"]), 128):
        cut = slice(k, k + 128)
        picture, mask, eyes = framed(
            *(data[k][cut].to(DEVICE) for k in ("rgb", "parts", "truth")), shape, None
        )  # fmt: skip
        out = net(picture).float()
        n = len(out)
        flat = torch.cat([out[:, 0].reshape(n, -1), torch.zeros((n, 1), device=out.device)], 1)
        p = torch.softmax(flat, 1)
        grid = p[:, :-1].reshape(n, 1, gh, gw)
        heap = F.avg_pool2d(grid, 3, 1, 1, count_include_pad=True) * 9
        best = heap.reshape(n, -1).argmax(1)
        by, bx = best // gw, best % gw
        for i in range(n):
            y0, y1 = max(0, int(by[i]) - 1), min(gh, int(by[i]) + 2)
            x0, x1 = max(0, int(bx[i]) - 1), min(gw, int(bx[i]) + 2)
            w = grid[i, 0, y0:y1, x0:x1]
            ys = torch.arange(y0, y1, device=w.device)[:, None]
            xs = torch.arange(x0, x1, device=w.device)[None]
            x, y = float((w * xs).sum() / w.sum()), float((w * ys).sum() / w.sum())
            rows["at"].append(((x + 0.5) * STRIDE - 0.5, (y + 0.5) * STRIDE - 0.5))
            rows["chance"].append(float(w.sum()))
            rows["radius"].append(float(2 ** out[i, 2, by[i], bx[i]]))
        rows["none"] += p[:, -1].tolist()
        rows["beside"] += beside(out).tolist()
        rows["eyes"] += eyes[:, :2].cpu().numpy().tolist()
        hit, truth = out[:, 3] > 0, mask[:, 0] > 0.5
        inter, union = (hit & truth).sum((1, 2)), (hit | truth).sum((1, 2))
        rows["iou"] += (inter / union.clamp(min=1)).tolist()
    return {k: np.array(v) for k, v in rows.items()}


def report(net: nn.Module, data: dict[str, Any], name: str) -> None:
    got = answers(net, data, (288, 384))
    eyes, truth = got["eyes"], data["truth"].numpy()
    scale = 384 / data["rgb"].shape[3]
    seen = eyes[..., 3] > SEEN
    has = seen.any(1)
    d = np.hypot(eyes[..., 0] - got["at"][:, :1], eyes[..., 1] - got["at"][:, 1:])
    d = np.where(seen, d, 1e9).min(1)
    hit = d < 0.15 * truth[:, 21] * scale
    inside = d < np.where(seen, eyes[..., 2], 0).max(1)
    near = np.where(seen, eyes[..., 4], 1e9).argmin(1)
    on = np.take_along_axis(eyes, near[:, None, None], 1)[:, 0]
    nearer = np.hypot(on[:, 0] - got["at"][:, 0], on[:, 1] - got["at"][:, 1]) < on[:, 2]
    say = {
        "set": name, "n": len(hit), "with_eye": int(has.sum()), "hit": round(hit[has].mean(), 3),
        "in_eye": round(inside[has].mean(), 3), "nearer": round(nearer[has].mean(), 3),
        "none_said": round(float((got["none"] > 0.5)[~has].mean()), 3) if (~has).any() else None,
        "none_false": round(float((got["none"] > 0.5)[has].mean()), 3),
        "iou": round(float(got["iou"][has].mean()), 3),
        "radius_ratio": [round(float(v), 2) for v in np.percentile(
            (got["radius"] / on[:, 2].clip(1))[has & nearer], [10, 50, 90])]
        if (has & nearer).any() else None,
    }  # fmt: skip
    say |= another(data["parts"].numpy(), got["beside"])
    plan = np.asarray(data["plan"])
    say["by_plan"] = {
        str(p): round(float(hit[has & (plan == p)].mean()), 3) for p in np.unique(plan)
    }
    off = np.abs(truth[:, 20])
    say["by_defocus"] = {
        f"{a}-{b}": round(float(hit[has & (off >= a) & (off < b)].mean()), 3)
        for a, b in ((0, 1), (1, 3), (3, 6), (6, 13))
    }
    c = np.where(has, nearer, False)
    say["calibration"] = [
        [int(k.sum()), round(float(got["chance"][k].mean()), 2), round(float(c[k].mean()), 2)]
        for a in range(0, 10, 2)
        for k in [(got["chance"] >= a / 10) & (got["chance"] < a / 10 + 0.2 + (a == 8))]
        if k.any()
    ]  # fmt: skip
    print(json.dumps(say), flush=True)


def another(parts: np.ndarray, logit: np.ndarray) -> dict[str, Any]:
    """How many second animals are noticed where it is wrongly said of 1, 2 and 5 % of others."""
    told = [beside_of(p[0] + 2 * p[1]) for p in parts]
    share, gap = np.array(told).T
    two = share > 0.01
    alone = logit[share == 0]
    say: dict[str, Any] = {"alone": len(alone)}
    for name, which in {"apart": two & (gap > 0.03) & np.isfinite(gap), "any": two}.items():
        say[f"another_{name}"] = [int(which.sum())] + [
            round(float((logit[which] > np.quantile(alone, 1 - f)).mean()), 3)
            for f in (0.01, 0.02, 0.05)
        ]
    return say


def joined(paths: list[Path]) -> dict[str, Any]:
    got = [load(p) for p in paths]
    out = {k: torch.cat([g[k] for g in got]) for k in ("rgb", "parts", "truth")}
    return {**out, "plan": np.concatenate([g["plan"] for g in got])}


def train(
    data: dict[str, Any], keep: np.ndarray, steps: int, seconds: float, batch: int, seed: int
) -> nn.Module:
    """Learn, and give the mean of the last states; the rate falls to nothing at the end."""
    torch.manual_seed(seed)
    gen = torch.Generator(DEVICE).manual_seed(seed)
    net = Finder().to(DEVICE).to(memory_format=torch.channels_last)
    mean = Finder().to(DEVICE).eval()
    mean.load_state_dict(net.state_dict())
    opt = torch.optim.AdamW(net.parameters(), lr=3e-3, weight_decay=0.03, fused=DEVICE == "cuda")
    states = [
        [v for v in n.state_dict().values() if v.dtype.is_floating_point] for n in (mean, net)
    ]
    index = torch.from_numpy(np.flatnonzero(keep)).to(DEVICE)
    start = time.monotonic()
    for k in range(steps):
        done = max(k / steps, (time.monotonic() - start) / seconds)
        if done >= 1.0:
            break
        rate = 3e-3 * (
            done / 0.08 if done < 0.08 else 0.5 + 0.5 * np.cos(np.pi * (done - 0.08) / 0.92)
        )
        for group in opt.param_groups:
            group["lr"] = max(rate, 1e-6)
        pick = index[torch.randint(len(index), (batch,), generator=gen, device=DEVICE)]
        shape = SHAPES[0] if k % 2 == 0 else SHAPES[1 + (k // 2) % 4]
        with torch.no_grad():
            picture, mask, eyes = framed(
                data["rgb"][pick], data["parts"][pick], data["truth"][pick], shape, gen
            )
            picture = developed(picture, gen).to(memory_format=torch.channels_last)
            want = targets(eyes, shape)
        with torch.autocast(DEVICE, torch.bfloat16):
            out = net(picture)
        loss = loss_of(out, want, mask)
        opt.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        opt.step()
        if k % 4 == 3:
            with torch.no_grad():
                torch._foreach_lerp_(states[0], states[1], 1 - min(0.992, (k + 1) / (k + 40)))
        if k % 500 == 0:
            print(f"step {k} loss {loss.item():.3f} {time.monotonic() - start:.0f} s", flush=True)
    print(f"{k} steps, {time.monotonic() - start:.0f} s, last loss {loss.item():.3f}", flush=True)
    return mean


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--learn", type=Path, nargs="+", required=True)
    ask.add_argument("--choose", type=Path, nargs="+", required=True)
    ask.add_argument("--out", type=Path, required=True)
    ask.add_argument("--steps", type=int, default=8000)
    ask.add_argument("--seconds", type=float, default=150.0)
    ask.add_argument("--batch", type=int, default=192)
    ask.add_argument("--without", nargs="*", default=[])
    ask.add_argument("--seed", type=int, default=1)
    said = ask.parse_args()
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = True
    data = joined(said.learn)
    keep = ~np.isin(data["plan"], said.without)
    data.update({k: data[k].to(DEVICE) for k in ("rgb", "parts", "truth")})
    print(f"{int(keep.sum())} pictures, without {said.without}", flush=True)
    net = train(data, keep, said.steps, said.seconds, said.batch, said.seed)
    print(f"{sum(p.numel() for p in net.parameters())} weights")
    said.out.parent.mkdir(parents=True, exist_ok=True)
    torch.save(net.state_dict(), said.out.with_suffix(".pt"))
    net = net.float().cpu().eval()
    torch.onnx.export(
        net, (torch.zeros(1, 3, 288, 384),), str(said.out), opset_version=13, dynamo=False,
        input_names=["picture"], output_names=["grid"],
        dynamic_axes={"picture": {2: "h", 3: "w"}, "grid": {2: "gh", 3: "gw"}},
    )  # fmt: skip
    net = net.to(DEVICE)
    for path in said.choose:
        report(net, load(path), path.parent.name)


if __name__ == "__main__":
    main()
