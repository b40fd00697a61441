//! One tile: every placement that reaches it, in order, on every file.

use std::collections::BTreeSet;
use std::ops::Range;

use pulp::{Arch, Simd, WithSimd};
use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{HeightMm, Image, LinearRgb, Map, Normal, Rect, Size, Stored, Unit};
use tatter_core::model::{ChannelRule, MapRole};
use tatter_core::rule::Rule;

use super::fit::Fit;
use super::owner::{NOBODY, Owners};
use super::plan::{Bounds, Draw, Triangle};
use super::pyramid::{
    BARE, COLOR, COVER, HEIGHT, Level, Levels, METALLIC, OCCLUSION, OPACITY, Prepared, ROUGHNESS4, SLOPE_X, SLOPE_Y,
    TRANSLUCENCY, Texel,
};
use super::rim::LocalHeight;
use crate::matching::Shown;

/// Cover below this is nothing: an eighth of a step of an 8-bit texture at full contrast, and too little to divide by.
const LEAST_COVER: f32 = 5e-4;

/// One placement in one target.
#[derive(Debug)]
pub(super) struct Layer<'a> {
    pub(super) prepared: &'a Prepared,
    pub(super) levels: &'a Levels,
    pub(super) draws: &'a [Draw],
    /// Of each draw, the texels beyond which nothing of it shows.
    pub(super) showing: Vec<Bounds>,
    /// Places in patch texels, across and down, between which it shows; `None`: wherever it has cover.
    pub(super) window: Option<[[f64; 2]; 2]>,
    pub(super) rules: &'a dyn RuleOf,
    pub(super) fit: &'a Fit,
    pub(super) enlargement: f32,
    pub(super) local_height: LocalHeight,
    /// Shares of the canvas that a texel of the patch takes, across and down.
    pub(super) canvas_per_texel: [f64; 2],
}

/// The rule of a channel, or `None` where the placement leaves it alone.
pub(super) trait RuleOf: std::fmt::Debug + Sync {
    /// Rule and strength.
    fn rule_of(&self, channel: Channel) -> Option<ChannelRule>;
}

/// What a tile needs to know.
#[derive(Debug)]
pub(super) struct TileJob<'a> {
    /// Where anything can show; may be empty.
    pub(super) rect: Bounds,
    /// Layer, and its draws that reach the tile, ascending.
    pub(super) layers: Vec<(usize, Vec<usize>)>,
    /// Faces of the map set near the tile; `None` when the texture repeats and has no gutter.
    pub(super) faces: Option<Vec<(u32, Triangle, Bounds)>>,
    pub(super) padding: i64,
    /// File number in the set, its picture, its roles.
    pub(super) files: Vec<(usize, &'a Stored, &'a [MapRole])>,
    pub(super) size: Size,
}

/// What a tile found for one layer.
#[derive(Debug, Default)]
pub(super) struct LayerCount {
    pub(super) layer: usize,
    pub(super) texels: usize,
    pub(super) clamped: usize,
    pub(super) shared: usize,
    /// Faces outside the placement that show its texels.
    pub(super) shown_by: BTreeSet<u32>,
}

/// New samples for one file.
#[derive(Debug)]
pub(super) struct TileFile {
    pub(super) file: usize,
    pub(super) part: Stored,
    pub(super) changed: usize,
}

/// Everything a tile changes.
#[derive(Debug)]
pub(super) struct TileResult {
    pub(super) x: usize,
    pub(super) y: usize,
    pub(super) files: Vec<TileFile>,
    pub(super) counts: Vec<LayerCount>,
}

/// A channel of a file, decoded as far as something is laid.
struct RoleTile<'a> {
    file: usize,
    stored: &'a Stored,
    role: &'a MapRole,
    map: Map,
    /// Columns of each row that are decoded.
    decoded: Vec<Range<usize>>,
    touched: Image<bool>,
}

const NO_DRAW: u32 = u32::MAX;

impl TileJob<'_> {
    pub(super) fn run(&self, layers: &[Layer<'_>]) -> TileResult {
        let rect = self.rect;
        if rect.is_empty() {
            let counts = self.layers.iter().map(|&(layer, _)| LayerCount { layer, ..LayerCount::default() });
            return TileResult { x: 0, y: 0, files: Vec::new(), counts: counts.collect() };
        }
        let (width, height) = ((rect.x1 - rect.x0) as usize, (rect.y1 - rect.y0) as usize);
        let owners = self.faces.as_ref().map(|faces| {
            let window = rect.grown(self.padding).intersect(Bounds::whole(self.size));
            Owners::new(window, faces.iter().copied())
        });
        let gutter = owners.as_ref().map(|o| o.gutter(rect, self.padding));
        let mut roles = self.roles(layers);
        let mut counts = Vec::new();
        let mut hit = vec![NO_DRAW; width * height];
        for (number, draws) in &self.layers {
            let layer = &layers[*number];
            hit.fill(NO_DRAW);
            self.find_hits(layer, draws, gutter.as_deref(), &mut hit);
            counts.push(self.lay(*number, layer, &hit, owners.as_ref(), &mut roles));
        }
        TileResult { x: rect.x0 as usize, y: rect.y0 as usize, files: self.encode(&roles), counts }
    }

    /// Channels that at least one layer changes.
    fn roles(&self, layers: &[Layer<'_>]) -> Vec<RoleTile<'_>> {
        let part = self.rect.rect();
        let wanted = |channel: Channel| self.layers.iter().any(|(l, _)| layers[*l].rules.rule_of(channel).is_some());
        let mut roles = Vec::new();
        for (file, stored, own) in &self.files {
            for role in own.iter().filter(|role| wanted(role.channel)) {
                let map = Map::blank(role.channel.info().kind, part.size());
                let (decoded, touched) = (vec![0..0; part.height], Image::filled(part.width, part.height, false));
                roles.push(RoleTile { file: *file, stored, role, map, decoded, touched });
            }
        }
        roles
    }

    /// Which draw shows in each texel: the first that holds its middle; in the gutter, that of the nearest face.
    fn find_hits(&self, layer: &Layer<'_>, draws: &[usize], gutter: Option<&[u32]>, hit: &mut [u32]) {
        let width = self.rect.x1 - self.rect.x0;
        for &number in draws {
            let draw = &layer.draws[number];
            let part = layer.showing[number].intersect(self.rect);
            for y in part.y0..part.y1 {
                let inside = draw.triangle.columns(y, part.x0, part.x1);
                for x in layer.window.as_ref().map_or(inside.clone(), |window| draw.columns_showing(window, y, inside)) {
                    let i = ((y - self.rect.y0) * width + x - self.rect.x0) as usize;
                    if hit[i] == NO_DRAW {
                        hit[i] = number as u32;
                    }
                }
            }
        }
        let Some(gutter) = gutter else { return };
        for (i, &face) in gutter.iter().enumerate() {
            if face == NOBODY || hit[i] != NO_DRAW {
                continue;
            }
            if let Ok(at) = draws.binary_search_by_key(&(face as usize), |&d| layer.draws[d].face) {
                let (x, y) = (self.rect.x0 + i as i64 % width, self.rect.y0 + i as i64 / width);
                if layer.draws[draws[at]].bounds.contains(x, y) {
                    hit[i] = draws[at] as u32;
                }
            }
        }
    }

    fn lay(
        &self,
        number: usize,
        layer: &Layer<'_>,
        hit: &[u32],
        owners: Option<&Owners>,
        roles: &mut [RoleTile<'_>],
    ) -> LayerCount {
        let width = (self.rect.x1 - self.rect.x0) as usize;
        let mut count = LayerCount { layer: number, ..LayerCount::default() };
        let arch = Arch::new();
        let mut places: Vec<Place<'_>> = Vec::with_capacity(width);
        let mut texels: Vec<Texel> = Vec::with_capacity(width);
        let mut seen: Vec<Seen> = Vec::with_capacity(width);
        let mut shown: Vec<Shown> = Vec::with_capacity(width);
        for (row, hits) in hit.chunks_exact(width.max(1)).enumerate() {
            let y = self.rect.y0 + row as i64;
            places.clear();
            texels.clear();
            seen.clear();
            shown.clear();
            let hits = hits.iter().enumerate().filter(|(_, number)| **number != NO_DRAW);
            places.extend(hits.filter_map(|(column, &number)| {
                place(layer, &layer.draws[number as usize], column, self.rect.x0 + column as i64, y)
            }));
            arch.dispatch(SampleAll { places: &places, texels: &mut texels });
            for (place, texel) in places.iter().zip(&texels) {
                let Some((s, color)) = see(layer, place, texel) else { continue };
                let x = self.rect.x0 + place.column as i64;
                if let Some(owners) = owners.filter(|o| o.sharer(x, y) != NOBODY) {
                    count.shared += 1;
                    let others = [owners.owner(x, y), owners.sharer(x, y)].into_iter();
                    count.shown_by.extend(others.filter(|&f| f as usize != place.draw.face));
                }
                seen.push(s);
                shown.push(color);
            }
            count.texels += seen.len();
            layer.fit.colors(&mut shown);
            seen.iter_mut().zip(&shown).for_each(|(s, shown)| s.color = shown.color);
            for role in roles.iter_mut() {
                if let Some(rule) = layer.rules.rule_of(role.role.channel) {
                    role.decode(self.rect, row, &seen);
                    count.clamped += role.lay_row(row, &seen, rule);
                }
            }
        }
        count
    }

    fn encode(&self, roles: &[RoleTile<'_>]) -> Vec<TileFile> {
        let part = self.rect.rect();
        let mut files = Vec::new();
        for (file, stored, _) in &self.files {
            let mut own = roles.iter().filter(|r| r.file == *file && r.touched.texels().contains(&true)).peekable();
            if own.peek().is_none() {
                continue;
            }
            let mut after = stored.crop(part);
            for role in own {
                after.encode(&role.role.coding, Rect::whole(after.size), &role.map, &role.touched);
            }
            let changed = stored.differing_from(&after, part.x, part.y);
            if changed > 0 {
                files.push(TileFile { file: *file, part: after, changed });
            }
        }
        files
    }
}

/// What the patch shows in one texel of a row.
struct Seen {
    column: usize,
    cover: f32,
    color: LinearRgb,
    /// Millimetres of the patch above its own mid plane, and of the garment around it.
    height: f32,
    local_height: f32,
    slopes: (f32, f32),
    roughness4: f32,
    units: [f32; 4],
    /// Opacity of the injury alone, which multiplies the garment's own.
    opened: f32,
}

/// Where a texel of a row looks into a patch.
struct Place<'a> {
    column: usize,
    draw: &'a Draw,
    level: &'a Level,
    /// In patch texels.
    x: f64,
    y: f64,
    /// In shares of the canvas.
    at: [f32; 2],
    /// Share that the seam leaves of it.
    shown: f32,
}

/// `None` where nothing of the patch can show.
fn place<'a>(layer: &Layer<'a>, draw: &'a Draw, column: usize, x: i64, y: i64) -> Option<Place<'a>> {
    let (x, y) = draw.patch_at(x, y);
    let at = [(x * layer.canvas_per_texel[0]) as f32, (y * layer.canvas_per_texel[1]) as f32];
    let shown = match &layer.fit.seam {
        // It lies in the cover.
        Some(seam) => seam.at(at),
        None => {
            let cells = layer.prepared.cells_per_texel;
            let narrow = draw.filter.support * cells[0].max(cells[1]) < 1.0;
            f32::from(u8::from(!narrow || layer.prepared.may_cover(x, y)))
        }
    };
    let level = layer.levels.level(draw.filter.level)?;
    (shown > 0.0).then_some(Place { column, draw, level, x, y, at, shown })
}

/// What all places of a row see, in the widest registers the processor has: the same to the bit in any.
struct SampleAll<'a> {
    places: &'a [Place<'a>],
    texels: &'a mut Vec<Texel>,
}

// A type, and loops: a closure would be compiled for itself, for registers that every processor has.
impl WithSimd for SampleAll<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        for place in self.places {
            self.texels.push(place.draw.filter.sample(simd, place.level, place.x, place.y));
        }
    }
}

/// What a layer shows in a texel, and its colour before it is fitted.
fn see(layer: &Layer<'_>, place: &Place<'_>, texel: &Texel) -> Option<(Seen, Shown)> {
    let &Place { column, draw, at, shown, .. } = place;
    let cover = texel[COVER].min(1.0) * shown;
    if cover < LEAST_COVER {
        return None;
    }
    let values = texel.map(|lane| lane / texel[COVER]);
    let value = |lane: usize| values[lane];
    let depth = &layer.fit.depth;
    let (p, q) = (depth.slope(value(SLOPE_X)), depth.slope(value(SLOPE_Y)));
    let [[xx, xy], [yx, yy]] = draw.slopes_from_patch;
    let local_height = layer.local_height.at(at);
    let color = LinearRgb([0, 1, 2].map(|i| value(COLOR + i).max(0.0)));
    let units = [METALLIC, OCCLUSION, OPACITY, TRANSLUCENCY].map(|lane| value(lane).clamp(0.0, 1.0));
    let seen = Seen {
        column,
        cover,
        color,
        height: depth.height(value(HEIGHT)) * layer.enlargement,
        local_height,
        slopes: (xx * p + xy * q, yx * p + yy * q),
        roughness4: shifted(value(ROUGHNESS4).clamp(0.0, 1.0), layer.fit.roughness.at(at)[0]),
        units,
        opened: layer.fit.opacity(units[2], at),
    };
    Some((seen, Shown { color, bare_luminance: value(BARE).max(0.0), at }))
}

/// Roughness to the fourth with something added to the roughness.
fn shifted(roughness4: f32, shift: f32) -> f32 {
    if shift == 0.0 { roughness4 } else { (roughness4.sqrt().sqrt() + shift).clamp(0.0, 1.0).powi(4) }
}

impl RoleTile<'_> {
    /// Have the columns of a row of the tile decoded that are seen, and those between.
    fn decode(&mut self, tile: Bounds, row: usize, seen: &[Seen]) {
        let (Some(first), Some(last)) = (seen.first(), seen.last()) else { return };
        let (wanted, known) = (first.column..last.column + 1, self.decoded[row].clone());
        let mut decode = |columns: Range<usize>| {
            let at = (tile.x0 as usize + columns.start, tile.y0 as usize + row);
            self.stored.decode_into(&self.role.coding, at, &mut self.map, row, columns);
        };
        if known.is_empty() {
            decode(wanted.clone());
            self.decoded[row] = wanted;
            return;
        }
        if wanted.start < known.start {
            decode(wanted.start..known.start);
        }
        if wanted.end > known.end {
            decode(known.end..wanted.end);
        }
        self.decoded[row] = wanted.start.min(known.start)..wanted.end.max(known.end);
    }

    /// Returns how many heights left the range of the file.
    fn lay_row(&mut self, row: usize, seen: &[Seen], ChannelRule { rule, strength }: ChannelRule) -> usize {
        let channel = self.role.channel;
        let touched = self.touched.row_mut(row);
        let mut clamped = 0;
        match &mut self.map {
            Map::Color(image) => {
                each(image.row_mut(row), touched, seen, |below, s| rule.apply(below, s.color, s.cover * strength));
            }
            Map::Height(image) => {
                let range = self.role.coding.height_range;
                // Added heights ride on what is there; all others lie relative to the surface around the patch.
                let local = if rule == Rule::Add { 0.0 } else { 1.0 };
                each(image.row_mut(row), touched, seen, |below, s| {
                    let new: HeightMm = rule.apply(below, HeightMm(s.height + local * s.local_height), s.cover * strength);
                    // Nobody misses the height of what one looks through.
                    let seen = s.units[2] >= 0.5 && new != below;
                    clamped += usize::from(seen && !(range.low_mm..=range.high_mm).contains(&new.0));
                    new
                });
            }
            Map::Normal(image) => each(image.row_mut(row), touched, seen, |below, s| {
                rule.apply(below, Normal::from_slopes(s.slopes.0, s.slopes.1), s.cover * strength)
            }),
            Map::Unit(image) if channel == Channel::Roughness => each(image.row_mut(row), touched, seen, |below, s| {
                let weight = s.cover * strength;
                if rule == Rule::Replace {
                    Unit(rule.apply(Unit(below.0.powi(4)), Unit(s.roughness4), weight).0.sqrt().sqrt())
                } else {
                    rule.apply(below, Unit(s.roughness4.sqrt().sqrt()), weight)
                }
            }),
            Map::Unit(image) if channel == Channel::Opacity && rule == Rule::Multiply => {
                each(image.row_mut(row), touched, seen, |below, s| rule.apply(below, Unit(s.opened), s.cover * strength));
            }
            Map::Unit(image) => {
                let lane = match channel {
                    Channel::Metallic => 0,
                    Channel::Occlusion => 1,
                    Channel::Translucency => 3,
                    _ => 2,
                };
                each(image.row_mut(row), touched, seen, |below, s| rule.apply(below, Unit(s.units[lane]), s.cover * strength));
            }
        }
        clamped
    }
}

/// Apply to the texels seen, marking those whose value changed.
fn each<P: Copy + PartialEq>(row: &mut [P], touched: &mut [bool], seen: &[Seen], mut new: impl FnMut(P, &Seen) -> P) {
    for s in seen {
        let below = row[s.column];
        let value = new(below, s);
        if value != below {
            row[s.column] = value;
            touched[s.column] = true;
        }
    }
}

/// Whether a rule can be applied to a channel of a garment.
pub(super) const fn is_effective(kind: Kind, rule: ChannelRule) -> bool {
    rule.rule.fits(kind) && !matches!(rule.rule, Rule::Keep) && rule.strength > 0.0
}
