//! Tests of the job file: what is read, what is refused and where, what stays when it is edited.

use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::color::Cdl;
use tatter_core::image::{HeightRange, NormalY};
use tatter_core::model::{
    ChannelRule, Edge, GrainSource, Hand, IslandGrain, Job, Match, MatchMode, PatchRef, Placement, Relief, Spot, UvTile,
    Variation, Wear, Weave,
};
use tatter_core::rule::Rule;
use tatter_core::units::{Mm, MmPerUv, PerCm};

use std::path::Path;

use toml_edit::DocumentMut;

use super::render::render;
use super::write::edited;
use super::{parse_job, parse_rule, read_job, write_job};
use crate::text::TextFault;

const SMOCK: &str = r#"# The Salt Ledger, costume 3: the ferryman's smock
format = 1
name = "ferryman smock, third act"

[garment]
mesh = "smock/smock.glb"   # as it came from the pattern room
mm_per_unit = 1000
mm_per_uv = 840.5

[[garment.map]]
file = "smock/smock_color.png"
channels = "base_color"
material = "canvas"

[[garment.map]]
file = "smock/smock_orm.png"
channels = { r = "occlusion", g = "roughness", b = "metallic" }
material = "canvas"
inverted = ["roughness"]

[[garment.map]]
file = "smock/smock_normal.png"
channels = "normal"
material = "canvas"
normal_y = "down"

[[garment.map]]
file = "smock/smock_height.exr"
channels = "height"
material = "canvas"
tile = 1012
height_range_mm = [-1, 0.5]

# ---- cloth cut from photos ----

[[patch]]
name = "rope-burn"
path = "patches/rope-burn.patch"

[[patch]]
name = "torn-elbow"
path = "../library/torn-elbow.patch"

# ---- the cutting list ----

# left elbow, where he leans on the oar
[[placement]]
id = "elbow-left"
patch = "torn-elbow"
at = [0.25, 0.5]
turn_deg = 30
size_mm = 40   # agreed with the supervisor
rules = { height = "replace:0.8", opacity = "keep" }

# rope over the shoulder
[[placement]]
id = "shoulder"
patch = "rope-burn"
point = [0.1, 1.4, 0.05]
mirror = false
match = "fit"
match_strength = 0.8
grade = { slope = [1, 1.1, 1], saturation = 0.9 }

[delivery]
folder = "out"
"#;

fn smock() -> Job {
    parse_job(SMOCK).expect("the example is right")
}

#[test]
fn the_example_means_what_it_says() {
    let job = smock();
    assert_eq!(job.name, "ferryman smock, third act", "name");
    assert_eq!(job.garment.mm_per_uv, Some(MmPerUv(840.5)), "scale");
    let sets = &job.garment.sets;
    assert_eq!(sets.len(), 2, "one set for each material and tile");
    assert_eq!(sets[1].tile, UvTile { u: 1, v: 1 }, "1012 is the second of the second row");
    let range = HeightRange { low_mm: -1.0, high_mm: 0.5 };
    assert_eq!(sets[1].role(Channel::Height).map(|(_, role)| role.coding.height_range), Some(range), "height range");
    let (file, role) = sets[0].role(Channel::Roughness).expect("roughness is packed");
    assert_eq!((file.path.as_str(), role.coding.component, role.coding.inverted), ("smock/smock_orm.png", 1, true), "packed");
    assert!(!sets[0].role(Channel::Metallic).expect("metallic is packed").1.coding.inverted, "only roughness is inverted");
    assert_eq!(sets[0].role(Channel::Normal).map(|(_, role)| role.coding.normal_y), Some(NormalY::Down), "green down");
    let elbow = &job.placements[0];
    assert_eq!(elbow.spot, Spot::Uv { at: [0.25, 0.5], part: None }, "place");
    assert_eq!((elbow.turn, elbow.size), (Angle::degrees(30.0), Some(Mm(40.0))), "turn and size");
    assert_eq!(elbow.rule(Channel::Height), ChannelRule { rule: Rule::Replace, strength: 0.8 }, "height");
    assert_eq!(elbow.rule(Channel::Opacity), ChannelRule { rule: Rule::Keep, strength: 1.0 }, "opacity");
    assert_eq!(job.placements[1].spot, Spot::Point([0.1, 1.4, 0.05]), "point");
    let grade = Cdl { slope: [1.0, 1.1, 1.0], saturation: 0.9, ..Cdl::default() };
    let fitted = Match { mode: Some(MatchMode::Fit), strength: 0.8, grade: Some(grade), ..Match::default() };
    assert_eq!((job.placements[1].matching, elbow.matching), (fitted, Match::default()), "match");
    assert_eq!(job.delivery.folder.as_deref(), Some("out"), "folder");
}

#[test]
fn grain_of_islands_is_read_and_written() {
    let text = format!(
        "{SMOCK}\n[[garment.grain]]\nat = [0.25, 0.5]\nturn_deg = -7.5\nsource = \"measured\"\nends_per_cm = 24\n\
         picks_per_cm = 18.5\nweave = \"twill 2/2 Z\"\n\n[[garment.grain]]\nat = [0.8, 0.1]\npart = \"sleeve\"\nturn_deg = 90\n"
    );
    let mut job = parse_job(&text).expect("it is right");
    let measured = IslandGrain {
        at: [0.25, 0.5],
        part: None,
        turn: Angle::degrees(-7.5),
        source: GrainSource::Measured,
        ends_per_cm: Some(PerCm(24.0)),
        picks_per_cm: Some(PerCm(18.5)),
        weave: Weave::Twill { over: 2, under: 2, hand: Hand::Z },
    };
    assert_eq!(job.garment.grain[0], measured, "a measured island");
    let arrow = &job.garment.grain[1];
    assert_eq!((arrow.source, arrow.part.as_deref()), (GrainSource::Arrow, Some("sleeve")), "who says nothing drew an arrow");
    let path = Path::new("smock.tatter.toml");
    assert_eq!(edited(&text, path, &job).expect("it is right"), text, "unchanged it stays to the byte");
    job.garment.grain.remove(0);
    let less = edited(&text, path, &job).expect("it is right");
    assert_eq!(parse_job(&less).expect("it is right"), job, "what was taken out is gone: {less}");
    job.garment.grain.clear();
    let none = edited(&text, path, &job).expect("it is right");
    assert!(!none.contains("grain") && parse_job(&none).expect("it is right") == job, "{none}");
    for (from, to, said) in [
        ("source = \"measured\"", "source = \"guessed\"", "measured or arrow"),
        ("turn_deg = -7.5", "", "needs `turn_deg`"),
        ("at = [0.25, 0.5]\nturn_deg = -7.5", "at = [0.25]\nturn_deg = -7.5", "two numbers, u and v"),
        ("ends_per_cm = 24", "ends_per_cm = 0", "above 0"),
        ("twill 2/2 Z", "twill 2/2 W", "is no weave"),
        ("part = \"sleeve\"", "parts = \"sleeve\"", "nearest is `part`"),
    ] {
        let fault = parse_job(&text.replace(from, to)).expect_err(to).to_string();
        assert!(fault.contains(said), "{to}: {fault}");
    }
}

/// The example with one line changed, what is then wrong, and a part of the sentence.
const WRONG: &[(&str, &str, usize, &str)] = &[
    ("turn_deg = 30", "turn = 30", 51, "nearest is `turn_deg`"),
    ("mesh = \"smock/smock.glb\"", "mash = \"smock/smock.glb\"", 6, "nearest is `mesh`"),
    ("[delivery]", "[deliver]", 65, "nearest is `delivery`"),
    ("size_mm = 40", "size_mm = \"40\"", 52, "must be a number"),
    ("size_mm = 40", "size_mm = -3", 52, "above 0"),
    ("size_mm = 40", "size_mm = inf", 52, "must be a number"),
    ("at = [0.25, 0.5]", "at = [0.25]", 50, "two numbers, u and v"),
    ("at = [0.25, 0.5]", "", 47, "needs `at`"),
    ("mirror = false", "mirror = \"no\"", 60, "true or false"),
    ("mirror = false", "at = [0, 0]", 59, "already does"),
    ("mirror = false", "part = \"sleeve\"", 60, "not with `point`"),
    ("id = \"shoulder\"", "id = \"elbow-left\"", 57, "taken by a placement above"),
    ("patch = \"rope-burn\"", "patch = \"rope-bern\"", 58, "nearest is `rope-burn`"),
    ("name = \"torn-elbow\"", "name = \"rope-burn\"", 41, "taken by a patch above"),
    ("path = \"patches/rope-burn.patch\"", "path = \"/patches/rope-burn.patch\"", 38, "relative to the job file"),
    ("path = \"patches/rope-burn.patch\"", "path = 'C:\\patches'", 38, "relative to the job file"),
    ("path = \"patches/rope-burn.patch\"", "path = 'patches\\rope-burn.patch'", 38, "/ between folders"),
    ("channels = \"normal\"", "channels = \"normals\"", 23, "nearest is `normal`"),
    ("channels = \"normal\"", "channels = \"cover\"", 23, "not a channel of a garment"),
    ("normal_y = \"down\"", "normal_y = \"left\"", 25, "up or down"),
    ("normal_y = \"down\"", "transfer = \"linear\"", 25, "colour only"),
    ("tile = 1012", "tile = 12", 31, "between 1001 and 9999"),
    ("height = \"replace:0.8\"", "height = \"replace:1.8\"", 53, "from 0 to 1"),
    ("height = \"replace:0.8\"", "height = \"combine\"", 53, "these do: replace, add, keep"),
    ("height = \"replace:0.8\"", "height = \"replaces\"", 53, "nearest is `replace`"),
    ("height = \"replace:0.8\"", "heigth = \"replace\"", 53, "nearest is `height`"),
    ("height = \"replace:0.8\"", "cover = \"keep\"", 53, "has no rule"),
    ("match = \"fit\"", "match = \"redey\"", 61, "nearest is `redye`"),
    ("match = \"fit\"", "matches = \"fit\"", 61, "nearest is `match`"),
    ("match_strength = 0.8", "match_strength = 1.8", 62, "between 0 and 1"),
    ("saturation = 0.9", "saturation = -1", 63, "0 or more"),
    ("saturation = 0.9", "power = 0", 63, "above 0"),
    ("saturation = 0.9", "gamma = 2", 63, "not a key of grade"),
    ("slope = [1, 1.1, 1]", "slope = [1, 2]", 63, "a number, or three numbers"),
    ("b = \"metallic\"", "b = \"roughness\"", 17, "a second time"),
    ("inverted = [\"roughness\"]", "inverted = true", 19, "must name which"),
    ("format = 1", "format = 2", 2, "reads formats up to 1"),
    ("format = 1", "", 1, "needs `format`"),
    ("turn_deg = 30", "turn_deg = = 30", 51, ""),
];

#[test]
fn faults_name_their_line_and_the_way_out() {
    for (right, wrong, line, part) in WRONG {
        assert_eq!(SMOCK.matches(right).count().min(1), 1, "{right} is in the example");
        let fault = parse_job(&SMOCK.replacen(right, wrong, 1)).expect_err(wrong).to_string();
        assert!(fault.starts_with(&format!("line {line}: ")), "{wrong:?} is on line {line}, said: {fault}");
        assert!(fault.contains(part), "{wrong:?} should say {part:?}, said: {fault}");
    }
}

#[test]
fn a_newer_format_is_refused_before_its_keys() {
    let fault = parse_job("format = 7\nweather = \"rain\"\n").expect_err("newer");
    assert_eq!(fault, TextFault::NewerFormat { line: 1, found: 7, known: 1 }, "not a complaint about `weather`");
}

#[test]
fn writing_without_a_change_changes_nothing() {
    let path = Path::new("smock.tatter.toml");
    assert_eq!(edited(SMOCK, path, &smock()).expect("edits"), SMOCK, "every byte stays");
    let windows = SMOCK.replace('\n', "\r\n");
    assert_eq!(edited(&windows, path, &smock()).expect("edits"), windows, "line ends stay");
}

#[test]
fn one_change_is_one_line() {
    let mut job = smock();
    job.placements[0].size = Some(Mm(55.5));
    let text = edited(SMOCK, Path::new("smock.tatter.toml"), &job).expect("edits");
    assert_eq!(text, SMOCK.replace("size_mm = 40 ", "size_mm = 55.5 "), "the supervisor's comment stays");
}

#[test]
fn removing_a_placement_takes_its_own_comment_only() {
    let mut job = smock();
    job.placements.remove(0);
    let text = edited(SMOCK, Path::new("smock.tatter.toml"), &job).expect("edits");
    assert!(!text.contains("elbow-left") && !text.contains("leans on the oar"), "gone with its comment:\n{text}");
    assert!(text.contains("# ---- the cutting list ----") && text.contains("# rope over"), "the rest stays:\n{text}");
    assert_eq!(parse_job(&text), Ok(job), "and means the job");
}

#[test]
fn removing_all_keeps_the_headings() {
    let mut job = smock();
    job.placements.clear();
    let text = edited(SMOCK, Path::new("smock.tatter.toml"), &job).expect("edits");
    assert!(text.contains("# ---- the cutting list ----"), "headings belong to the file:\n{text}");
    assert_eq!(parse_job(&text), Ok(job), "and means the job");
}

#[test]
fn a_new_order_is_kept_with_inner_tables() {
    let spelled = SMOCK.replace(
        "rules = { height = \"replace:0.8\", opacity = \"keep\" }\n",
        "[placement.rules]\nheight = \"replace:0.8\" # softer\nopacity = \"keep\"\n",
    );
    let mut job = parse_job(&spelled).expect("tables inside tables are fine");
    assert_eq!(job, smock(), "both spellings mean the same");
    job.placements.reverse();
    job.placements[0].id = "shoulder-2".to_owned();
    job.placements[1].rules[Channel::Height] = Some(ChannelRule { rule: Rule::Add, strength: 0.5 });
    job.patches.push(PatchRef { name: "salt".to_owned(), path: "patches/salt.patch".to_owned() });
    let text = edited(&spelled, Path::new("smock.tatter.toml"), &job).expect("edits");
    assert_eq!(parse_job(&text), Ok(job), "the text means the job:\n{text}");
    assert!(text.contains("height = \"add:0.5\" # softer"), "comments inside stay:\n{text}");
}

#[test]
fn a_file_is_made_and_read_back() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let path = folder.path().join("smock.tatter.toml");
    let mut job = smock();
    write_job(&path, &job).expect("writes");
    assert_eq!(read_job(&path).expect("reads"), job, "as it was");
    job.placements.push(Placement {
        id: "hem".to_owned(),
        spot: Spot::Uv { at: [0.1, 1.0 / 3.0], part: Some("skirt".to_owned()) },
        turn: Angle::degrees(-12.345),
        mirror: true,
        ..job.placements[0].clone()
    });
    write_job(&path, &job).expect("writes again");
    assert_eq!(read_job(&path).expect("reads"), job, "with the hem");
    let names: Vec<_> = std::fs::read_dir(folder.path()).expect("lists").collect();
    assert_eq!(names.len(), 1, "nothing else is left in the folder");
}

#[test]
fn a_wrong_job_leaves_the_file_alone() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let path = folder.path().join("smock.tatter.toml");
    std::fs::write(&path, SMOCK).expect("writes");
    let mut job = smock();
    job.placements[0].patch = "nowhere".to_owned();
    let error = write_job(&path, &job).expect_err("no such patch").to_string();
    assert!(error.contains("nowhere"), "says which: {error}");
    assert_eq!(std::fs::read_to_string(&path).expect("reads"), SMOCK, "as it was");
}

#[test]
fn rules_of_the_command_line() {
    let rule = parse_rule(Channel::BaseColor, " multiply : 0.25").expect("spaces are fine");
    assert_eq!(rule, ChannelRule { rule: Rule::Multiply, strength: 0.25 }, "stain");
    for (channel, text) in [(Channel::BaseColor, "combine"), (Channel::Cover, "keep"), (Channel::Height, "add:NaN")] {
        assert!(parse_rule(channel, text).is_err(), "{text} does not fit {channel}");
    }
}

/// The page people read.
const PAGE: &str = include_str!("../../../../docs/job-file.md");

#[test]
fn the_page_about_it_is_true() {
    let example = PAGE.split("```toml\n").nth(1).and_then(|rest| rest.split("```").next()).expect("the page has an example");
    let job = parse_job(example).expect("its example is right");
    assert_eq!((job.garment.sets[0].files.len(), job.placements.len()), (5, 2), "all of it is read");
    let keys = [
        &super::TOP_KEYS[..],
        &super::GARMENT_KEYS,
        &super::MAP_KEYS,
        &super::grain::KEYS,
        &super::PATCH_KEYS,
        &super::PLACEMENT_KEYS,
        &super::DELIVERY_KEYS,
        &super::scatter::KEYS,
        &super::scatter::WHERE_KEYS,
        &super::wear::KEYS,
        &super::variation::KEYS,
        &super::matching::GRADE_KEYS,
    ];
    for key in keys.concat() {
        let told = PAGE.contains(&format!("| `{key}` |"))
            || PAGE.contains(&format!("[{key}]"))
            || PAGE.contains(&format!("[[garment.{key}]]"));
        assert!(told, "the page does not tell of `{key}`");
    }
    for name in Channel::ALL.into_iter().filter(|c| c.info().on_garment).map(Channel::name).chain(Rule::ALL.map(Rule::name)) {
        assert!(PAGE.contains(&format!("`{name}`")), "the page does not tell of `{name}`");
    }
    for name in MatchMode::ALL.map(MatchMode::name) {
        assert!(PAGE.contains(&format!("`\"{name}\"`")), "the page does not tell of the match `{name}`");
    }
}

const SCATTERED: &str = r#"
[[scatter]]
id = "moths"
patches = { rope-burn = 3, torn-elbow = 0.5 }
count = 20
seed = 7
only = ["sleeve"]
keep_off = ["collar", "cuff"]
margin_mm = 5
scale = [0.5, 1.5]
turn_deg = [-30, 30]
mirror = true
rules = { opacity = "keep" }
match = "fit"
match_strength = 0.6
match_relief = "keep"
edge = "seam"
grade = { saturation = 0.5 }
picture = "wear.png"
height = [0, 0.4]
edges_mm = 40
along = [[0.1, 0.8], [0.4, 0.8]]
spread_mm = 10
removed = [3, 11]
"#;

#[test]
fn a_scatter_is_read_whole_and_written_back_unchanged() {
    let text = format!("{SMOCK}{SCATTERED}");
    let job = parse_job(&text).unwrap();
    let moths = &job.scatters[0];
    assert_eq!((moths.count, moths.seed, &moths.removed[..]), (20, 7, &[3, 11][..]), "numbers");
    assert_eq!(
        moths.patches.iter().map(|s| (s.patch.as_str(), s.weight)).collect::<Vec<_>>(),
        [("rope-burn", 3.0), ("torn-elbow", 0.5)],
        "shares"
    );
    assert_eq!(moths.density.len(), 3, "picture, height, edges");
    let Match { mode, strength, grade, relief, edge } = moths.matching;
    assert_eq!((mode, strength, relief, edge), (Some(MatchMode::Fit), 0.6, Relief::Keep, Edge::Seam), "the match of all of them");
    assert_eq!(grade.map(|grade| grade.saturation), Some(0.5), "their grade");
    assert_eq!(moths.along, [[0.1, 0.8], [0.4, 0.8]], "the line");
    assert_eq!(edited(&text, Path::new("x"), &job).unwrap(), text, "not a letter changes");
    let mut more = job.clone();
    more.scatters[0].count = 25;
    let after = edited(&text, Path::new("x"), &more).unwrap();
    assert_eq!(after, text.replace("count = 20", "count = 25"), "one number changes");
}

#[test]
fn a_scatter_written_wrong_is_refused_on_its_line() {
    let text = format!("{SMOCK}{SCATTERED}");
    let line = text.lines().position(|line| line == "[[scatter]]").unwrap() + 1;
    for (from, to, at, says) in [
        ("count = 20", "count = 0", 3, "between 1 and 10000"),
        ("rope-burn = 3", "rope-brun = 3", 2, "the nearest is `rope-burn`"),
        ("scale = [0.5, 1.5]", "scale = [1.5, 0.5]", 8, "the smaller one first"),
        ("margin_mm", "margin", 7, "the nearest is `margin_mm`"),
        ("along = [[0.1, 0.8], [0.4, 0.8]]", "along = [0.1, 0.8]", 20, "a list of pairs of numbers"),
        ("removed = [3, 11]", "removed = [-3]", 22, "a list of whole numbers"),
        ("match_relief = \"keep\"", "match_relief = \"deep\"", 14, "is fit or keep"),
    ] {
        let fault = parse_job(&text.replace(from, to)).unwrap_err().to_string();
        assert!(fault.starts_with(&format!("line {}", line + at)) && fault.contains(says), "{to}: {fault}");
    }
}

const WORN: &str = r##"
[[wear]]
id = "hem"
kind = "abrasion"
strength = 0.75
seed = 7
only = ["sleeve"]
keep_off = ["collar", "cuff"]
height = [0, 0.4]
edges_mm = 12
bulges_mm = 80
facing = "front"
along = [[0.1, 0.8], [0.4, 0.8]]
spread_mm = 10
blotch_mm = 12
pucker_mm = 6
uneven = 0.3
raise_mm = -0.1
fibre = "#e2d9c6"
keep = ["roughness", "normal"]
"##;

#[test]
fn wear_is_read_whole_and_written_back_unchanged() {
    let text = format!("{SMOCK}{WORN}");
    let job = parse_job(&text).unwrap();
    let hem = &job.wear[0];
    assert_eq!((hem.kind.name(), hem.strength, hem.seed), ("abrasion", 0.75, 7), "what");
    assert_eq!(hem.density.len(), 4, "height, edges, bulges, facing");
    assert_eq!((hem.fibre, hem.height.map(Mm::get)), (Some([0xe2, 0xd9, 0xc6]), Some(-0.1)), "fibre and height");
    assert_eq!(hem.keep, [Channel::Roughness, Channel::Normal], "what it leaves alone");
    assert_eq!(edited(&text, Path::new("x"), &job).unwrap(), text, "not a letter changes");
    let mut more = job.clone();
    more.wear[0].strength = 0.5;
    assert_eq!(edited(&text, Path::new("x"), &more).unwrap(), text.replace("strength = 0.75", "strength = 0.5"), "one number");
    more.wear.clear();
    assert_eq!(parse_job(&edited(&text, Path::new("x"), &more).unwrap()).unwrap(), more, "and it can go");
    let plain = Job { wear: vec![Wear { id: "sun".into(), ..Wear::default() }], ..Job::default() };
    assert_eq!(parse_job(&DocumentMut::from(render(&plain)).to_string()).unwrap().wear, plain.wear, "defaults come back");
}

#[test]
fn wear_written_wrong_is_refused_on_its_line() {
    let text = format!("{SMOCK}{WORN}");
    let line = text.lines().position(|line| line == "[[wear]]").unwrap() + 1;
    for (from, to, at, says) in [
        ("kind = \"abrasion\"", "kind = \"abrasoin\"", 2, "the nearest is `abrasion`"),
        ("strength = 0.75", "strength = 1.8", 3, "between 0 and 1"),
        ("edges_mm", "edge_mm", 8, "the nearest is `edges_mm`"),
        ("facing = \"front\"", "facing = \"fornt\"", 10, "the nearest is `front`"),
        ("spread_mm = 10\n", "", 11, "needs spread_mm"),
        ("#e2d9c6", "ecru", 17, "a colour such as"),
        ("fibre =", "color =", 17, "for grime only"),
        ("\"roughness\", \"normal\"", "\"rough\"", 18, "the nearest is `roughness`"),
    ] {
        let fault = parse_job(&text.replace(from, to)).unwrap_err().to_string();
        assert!(fault.starts_with(&format!("line {}", line + at)) && fault.contains(says), "{to}: {fault}");
    }
}

#[test]
fn a_variation_is_read_whole_and_written_back_unchanged() {
    let own = r##"
[[variation]]
name = "black"
dye = "#202022"
from = "#335577"
fibre = "#e2d9c6"
materials = ["canvas"]
only = ["elbow-left", "hem"]
without = ["shoulder"]
strength = 0.5
strengths = { hem = 0.25 }
texels = 1024
"##;
    let text = format!("{SMOCK}{WORN}{own}");
    let job = parse_job(&text).unwrap();
    let black = &job.variations[0];
    assert_eq!((black.dye, black.texels, black.strength), (Some([0x20, 0x20, 0x22]), Some(1024), 0.5), "what it says");
    assert_eq!(black.strength_of("hem"), Some(0.125), "of a mark");
    assert_eq!(edited(&text, Path::new("x"), &job).unwrap(), text, "not a letter changes");
    let plain = Job { variations: vec![Variation { name: "plain".into(), ..Variation::default() }], ..Job::default() };
    assert_eq!(
        parse_job(&DocumentMut::from(render(&plain)).to_string()).unwrap().variations,
        plain.variations,
        "defaults come back"
    );
}
