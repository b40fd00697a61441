//! What is said at the loom: the cloth, its sett, yarn and dye, what happened to it, and how much of it is seen.

use std::ops::RangeInclusive;
use std::sync::Arc;

use egui::{ComboBox, DragValue, Response, Role, TextEdit, Ui};
use tatter::weave::{Along, DAMAGE_LENGTHS, DAMAGE_WIDTHS, Damage, Kind, STOCK, Said, Twist, Weaving, stock};

use super::fields::word_ui;
use super::named;
use crate::command::Command;
use crate::look::{self, APART, NEAR, Palette};
use crate::loom::{Loom, OnLoom};
use crate::say;

/// Width of the fields.
const FIELD: f32 = 104.0;
/// Texels to a side that can be chosen.
const SIDES: [usize; 4] = [512, 1024, 2048, 4096];

/// Draw the panel.
pub(crate) fn loom_said_ui(ui: &mut Ui, loom: &mut Loom, colors: &Palette, asked: &mut Vec<Command>) {
    let weaving = Arc::clone(loom.weaving());
    loom.written.follow(&weaving);
    egui::ScrollArea::vertical().id_salt("said").auto_shrink(false).show(ui, |ui| {
        // The bar of the scroll lies beside the fields.
        ui.set_max_width(ui.available_width() - 2.0 * NEAR);
        cloth_ui(ui, loom, &weaving, colors, asked);
        sett_ui(ui, loom, &weaving, colors, asked);
        yarn_ui(ui, loom, &weaving, colors, asked);
        dye_ui(ui, &weaving, colors, asked);
        damage_ui(ui, loom.damage(), &weaving, colors, asked);
        canvas_ui(ui, &weaving, colors, asked);
    });
}

fn say(weaving: Weaving) -> Command {
    Command::Loom(OnLoom::Say(Box::new(weaving)))
}

fn with_said(weaving: &Weaving, change: impl FnOnce(&mut Said)) -> Weaving {
    let mut weaving = weaving.clone();
    change(&mut weaving.said);
    weaving
}

fn title_ui(ui: &mut Ui, text: &str) {
    ui.add_space(APART);
    ui.label(look::name(text));
}

/// A line with a name on the left and something to set on the right.
fn line_ui(ui: &mut Ui, label: &str, tip: &str, colors: &Palette, add: impl FnOnce(&mut Ui) -> Response) {
    ui.horizontal(|ui| {
        ui.set_min_height(ui.spacing().interact_size.y);
        let label = ui.label(look::quiet(label, colors));
        let label = if tip.is_empty() { label } else { label.on_hover_text(tip) };
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| add(ui).labelled_by(label.id));
    });
}

/// A number that is dragged or written.
struct Number<'a> {
    name: &'a str,
    value: f32,
    range: RangeInclusive<f32>,
    speed: f32,
    decimals: usize,
    suffix: &'a str,
}

impl Number<'_> {
    fn ui(self, ui: &mut Ui, asked: &mut Vec<Command>, said: impl FnOnce(f32) -> Weaving) -> Response {
        let mut value = self.value;
        let number = DragValue::new(&mut value).range(self.range).speed(self.speed).fixed_decimals(self.decimals);
        let response = ui.add_sized([FIELD, ui.spacing().interact_size.y], number.suffix(self.suffix));
        named(&response, Role::SpinButton, self.name);
        if response.changed() && value != self.value {
            let weaving = Box::new(said(value));
            asked.push(Command::Loom(if response.dragged() { OnLoom::Drag(weaving) } else { OnLoom::Say(weaving) }));
        }
        if response.drag_stopped() {
            asked.push(Command::Loom(OnLoom::LetGo));
        }
        response
    }
}

fn percent<'a>(name: &'a str, share: f32) -> Number<'a> {
    Number { name, value: 100.0 * share, range: 0.0..=100.0, speed: 0.5, decimals: 0, suffix: " %" }
}

fn millimetres<'a>(name: &'a str, value: f32, range: RangeInclusive<f32>) -> Number<'a> {
    Number { name, value, range, speed: 0.2, decimals: 1, suffix: " mm" }
}

/// A choice among words.
struct Choice<'a, T> {
    name: &'a str,
    chosen: T,
    label: &'a dyn Fn(T) -> String,
    tip: &'a dyn Fn(T) -> Option<&'static str>,
}

impl<T: Copy + PartialEq> Choice<'_, T> {
    fn ui(
        self,
        ui: &mut Ui,
        all: impl IntoIterator<Item = T>,
        asked: &mut Vec<Command>,
        said: impl FnOnce(T) -> Weaving,
    ) -> Response {
        let mut picked = None;
        let text = (self.label)(self.chosen);
        let shown = ComboBox::from_id_salt(self.name).width(FIELD).selected_text(text).show_ui(ui, |ui| {
            for one in all {
                let entry = ui.selectable_label(one == self.chosen, (self.label)(one));
                let entry = match (self.tip)(one) {
                    Some(tip) => entry.on_hover_text(tip),
                    None => entry,
                };
                if entry.clicked() {
                    picked = Some(one);
                }
            }
        });
        named(&shown.response, Role::ComboBox, self.name);
        if let Some(one) = picked.filter(|one| *one != self.chosen) {
            asked.push(say(said(one)));
        }
        shown.response
    }
}

fn no_tip<T>(_: T) -> Option<&'static str> {
    None
}

fn cloth_ui(ui: &mut Ui, loom: &mut Loom, weaving: &Weaving, colors: &Palette, asked: &mut Vec<Command>) {
    let names = STOCK.map(|(name, _)| name);
    let chosen = names.into_iter().find(|name| *name == weaving.said.cloth).unwrap_or_default();
    let about = |name: &str| STOCK.into_iter().find(|(known, _)| *known == name).map(|(_, about)| about);
    line_ui(ui, say::CLOTH, say::CLOTH_TIP, colors, |ui| {
        // Another cloth has its own sett, yarn and dye; what happened stays.
        let choice = Choice { name: say::CLOTH, chosen, label: &str::to_owned, tip: &about };
        choice.ui(ui, names, asked, |name| Weaving { said: Said::of(name), ..weaving.clone() })
    });
    if let Some(about) = about(chosen) {
        ui.add(egui::Label::new(look::quiet(&say::sentence(about), colors)).wrap());
    }
    line_ui(ui, say::WEAVE, say::WEAVE_TIP, colors, |ui| {
        written_ui(ui, &mut loom.written.weave, say::WEAVE, say::WEAVE_TIP, asked, |text| {
            with_said(weaving, |said| said.weave = Some(text))
        })
    });
}

/// A text that is read when one leaves its field.
fn written_ui(
    ui: &mut Ui,
    text: &mut String,
    name: &str,
    tip: &str,
    asked: &mut Vec<Command>,
    said: impl FnOnce(String) -> Weaving,
) -> Response {
    let before = text.clone();
    let field = ui.add(TextEdit::singleline(text).desired_width(FIELD)).on_hover_text(tip);
    named(&field, Role::TextInput, name);
    let id = field.id.with("before");
    if field.gained_focus() {
        ui.data_mut(|data| data.insert_temp(id, before));
    }
    if field.lost_focus() {
        let known: Option<String> = ui.data_mut(|data| data.remove_temp(id));
        if known.is_some_and(|known| known != *text) {
            asked.push(say(said(text.trim().to_owned())));
        }
    }
    field
}

fn sett_ui(ui: &mut Ui, loom: &Loom, weaving: &Weaving, colors: &Palette, asked: &mut Vec<Command>) {
    title_ui(ui, say::SETT);
    let cloth = stock(&weaving.said.cloth);
    let usual = |f: fn(&tatter::weave::Cloth) -> f32| cloth.as_ref().map_or(10.0, f);
    let ends = weaving.said.ends_per_cm.unwrap_or_else(|| usual(|cloth| cloth.ends_per_cm.get()));
    let picks = weaving.said.picks_per_cm.unwrap_or_else(|| usual(|cloth| cloth.picks_per_cm.get()));
    let number = |name, value| Number { name, value, range: 1.0..=200.0, speed: 0.05, decimals: 1, suffix: "" };
    line_ui(ui, say::ENDS, say::ENDS_TIP, colors, |ui| {
        number(say::ENDS, ends).ui(ui, asked, |value| with_said(weaving, |said| said.ends_per_cm = Some(value)))
    });
    line_ui(ui, say::PICKS, say::PICKS_TIP, colors, |ui| {
        number(say::PICKS, picks).ui(ui, asked, |value| with_said(weaving, |said| said.picks_per_cm = Some(value)))
    });
    // What cannot be woven is told where it was set.
    match loom.limit() {
        Ok(Some(geometry)) => drop(ui.add(egui::Label::new(look::quiet(&say::follows(geometry), colors)).wrap())),
        Ok(None) => {}
        Err(trouble) => {
            ui.add(egui::Label::new(egui::RichText::new(say::sentence(&trouble.what)).color(colors.madder)).wrap());
            ui.add(egui::Label::new(look::plain(&trouble.next, colors)).wrap());
        }
    }
}

fn yarn_ui(ui: &mut Ui, loom: &mut Loom, weaving: &Weaving, colors: &Palette, asked: &mut Vec<Command>) {
    title_ui(ui, say::YARN);
    line_ui(ui, say::WARP_COUNT, say::COUNT_TIP, colors, |ui| {
        written_ui(ui, &mut loom.written.warp, say::WARP_COUNT, say::COUNT_TIP, asked, |text| {
            with_said(weaving, |said| said.warp = Some(text))
        })
    });
    line_ui(ui, say::WEFT_COUNT, say::COUNT_TIP, colors, |ui| {
        written_ui(ui, &mut loom.written.weft, say::WEFT_COUNT, say::COUNT_TIP, asked, |text| {
            with_said(weaving, |said| said.weft = Some(text))
        })
    });
    let Ok(cloth) = weaving.said.cloth() else { return };
    line_ui(ui, say::TWIST, say::TWIST_TIP, colors, |ui| {
        let label = |hand| say::twist(hand).to_owned();
        let choice = Choice { name: say::TWIST, chosen: cloth.warp.twist, label: &label, tip: &no_tip };
        choice.ui(ui, [Twist::S, Twist::Z], asked, |hand| with_said(weaving, |said| said.twist = Some(hand)))
    });
    line_ui(ui, say::TWIST_TURNS, say::TWIST_TIP, colors, |ui| {
        let value = cloth.warp.turns_per_m;
        let number = Number { name: say::TWIST_TURNS, value, range: 0.0..=5000.0, speed: 4.0, decimals: 0, suffix: "" };
        number.ui(ui, asked, |turns| with_said(weaving, |said| said.turns_per_m = Some(turns)))
    });
}

fn dye_ui(ui: &mut Ui, weaving: &Weaving, colors: &Palette, asked: &mut Vec<Command>) {
    let Ok(cloth) = weaving.said.cloth() else { return };
    title_ui(ui, say::DYE);
    let dyes = [(say::WARP_DYE, cloth.warp.dye.color), (say::WEFT_DYE, cloth.weft.dye.color)];
    for (number, (name, color)) in dyes.into_iter().enumerate() {
        line_ui(ui, name, say::DYE_TIP, colors, |ui| {
            let before = look::codes(color);
            let mut codes = before;
            let response = ui.color_edit_button_srgb(&mut codes);
            named(&response, Role::ColorWell, name);
            if response.clicked() {
                asked.push(Command::Loom(OnLoom::LetGo));
            }
            if codes != before {
                let set =
                    |said: &mut Said| *(if number == 0 { &mut said.warp_color } else { &mut said.weft_color }) = Some(codes);
                asked.push(Command::Loom(OnLoom::Drag(Box::new(with_said(weaving, set)))));
            }
            response
        });
    }
    line_ui(ui, say::DYE_DEPTH, say::DYE_DEPTH_TIP, colors, |ui| {
        percent(say::DYE_DEPTH, cloth.warp.dye.depth)
            .ui(ui, asked, |value| with_said(weaving, |said| said.dye_depth = Some(0.01 * value)))
    });
}

/// The damages there are, to be taken up one by one, and one more.
fn damages_ui(ui: &mut Ui, at: usize, weaving: &Weaving, colors: &Palette, asked: &mut Vec<Command>) {
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 2.0;
        if weaving.damage.len() > 1 {
            for (number, damage) in weaving.damage.iter().enumerate() {
                let label = say::numbered(number, damage.kind);
                if word_ui(ui, number == at, &label, colors).clicked() {
                    asked.push(Command::Loom(OnLoom::Damage(number)));
                }
            }
        }
        if !weaving.damage.is_empty() && ui.button(say::ONE_MORE).on_hover_text(say::ONE_MORE_TIP).clicked() {
            asked.push(Command::Loom(OnLoom::OneMore));
        }
    });
}

fn damage_ui(ui: &mut Ui, at: usize, weaving: &Weaving, colors: &Palette, asked: &mut Vec<Command>) {
    title_ui(ui, say::HAPPENED);
    damages_ui(ui, at, weaving, colors, asked);
    let damage = weaving.damage.get(at).copied();
    let kinds = std::iter::once(None).chain(Kind::ALL.map(Some));
    let label = |kind: Option<Kind>| kind.map_or_else(|| say::NO_DAMAGE.to_owned(), say::kind);
    // In the place of the one that is told about, or without it.
    let with = |damage: Option<Damage>| {
        let mut weaving = weaving.clone();
        let end = (at + 1).min(weaving.damage.len());
        weaving.damage.splice(at..end, damage);
        weaving
    };
    line_ui(ui, say::DAMAGE, "", colors, |ui| {
        let chosen = damage.map(|damage| damage.kind);
        let choice = Choice { name: say::DAMAGE, chosen, label: &label, tip: &|kind| kind.map(Kind::about) };
        let place = damage.map(|damage| damage.at).unwrap_or_default();
        choice.ui(ui, kinds, asked, |kind| with(kind.map(|kind| Damage { at: place, ..Damage::new(kind) })))
    });
    let Some(damage) = damage else { return };
    let with = |damage: Damage| with(Some(damage));
    ui.add(egui::Label::new(look::quiet(&say::about_damage(&damage), colors)).wrap());
    let (length, width) = say::measures(damage.kind);
    line_ui(ui, length, "", colors, |ui| {
        millimetres(length, damage.length, DAMAGE_LENGTHS).ui(ui, asked, |length| with(Damage { length, ..damage }))
    });
    if let Some(width) = width {
        line_ui(ui, width, "", colors, |ui| {
            millimetres(width, damage.width, DAMAGE_WIDTHS).ui(ui, asked, |width| with(Damage { width, ..damage }))
        });
    }
    let [across, up] = damage.at;
    // What lies off the canvas stays there until it is told elsewhere.
    let far = |at: f32| 0.5 * weaving.width_mm.max(2.0 * at.abs());
    line_ui(ui, say::TO_THE_RIGHT, say::PLACE_TIP, colors, |ui| {
        millimetres(say::TO_THE_RIGHT, across, -far(across)..=far(across))
            .ui(ui, asked, |across| with(Damage { at: [across, up], ..damage }))
    });
    line_ui(ui, say::UPWARDS, say::PLACE_TIP, colors, |ui| {
        millimetres(say::UPWARDS, up, -far(up)..=far(up)).ui(ui, asked, |up| with(Damage { at: [across, up], ..damage }))
    });
    if say::has_direction(damage.kind) {
        line_ui(ui, say::ALONG, say::ALONG_TIP, colors, |ui| {
            let label = |way| say::along(way).to_owned();
            let choice = Choice { name: say::ALONG, chosen: damage.along, label: &label, tip: &no_tip };
            choice.ui(ui, [Along::Weft, Along::Warp], asked, |along| with(Damage { along, ..damage }))
        });
    }
    if say::is_spanned(damage.kind) {
        line_ui(ui, say::SURVIVING, say::SURVIVING_TIP, colors, |ui| {
            percent(say::SURVIVING, damage.surviving).ui(ui, asked, |value| with(Damage { surviving: 0.01 * value, ..damage }))
        });
    }
    line_ui(ui, say::AGE, say::AGE_TIP, colors, |ui| {
        percent(say::AGE, damage.age).ui(ui, asked, |value| with(Damage { age: 0.01 * value, ..damage }))
    });
}

fn canvas_ui(ui: &mut Ui, weaving: &Weaving, colors: &Palette, asked: &mut Vec<Command>) {
    title_ui(ui, say::CANVAS);
    line_ui(ui, say::SHOWN, say::SHOWN_TIP, colors, |ui| {
        millimetres(say::SHOWN, weaving.width_mm, 2.0..=1000.0).ui(ui, asked, |width_mm| Weaving { width_mm, ..weaving.clone() })
    });
    line_ui(ui, say::TEXELS, "", colors, |ui| {
        let label = |side: usize| side.to_string();
        let choice = Choice { name: say::TEXELS, chosen: weaving.side, label: &label, tip: &no_tip };
        choice.ui(ui, SIDES, asked, |side| Weaving { side, ..weaving.clone() })
    });
    line_ui(ui, say::WOVEN_SEED, say::WOVEN_SEED_TIP, colors, |ui| {
        let another = ui.button(say::ANOTHER_SEED).on_hover_text(say::WOVEN_SEED_TIP);
        if another.clicked() {
            asked.push(say(Weaving { seed: weaving.seed + 1, ..weaving.clone() }));
        }
        ui.label(weaving.seed.to_string())
    });
    ui.add_space(NEAR);
}
