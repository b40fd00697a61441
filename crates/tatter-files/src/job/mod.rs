//! The job file `NAME.tatter.toml`: the editable recipe of a garment's wear.
//!
//! It is read strictly (an unknown key is an error with its line and the nearest valid key), and written so that a
//! person's comments, order and spacing stay. Its keys are listed in `docs/job-file.md`.

mod draft;
mod error;
mod grain;
mod matching;
mod merge;
mod read;
mod render;
mod rules;
mod scatter;
mod variation;
mod wear;
mod write;

pub use draft::{forget_draft, job_text, read_draft, write_draft};
pub use error::JobError;
pub use read::{parse_job, read_job};
pub use rules::{RuleFault, parse_rule, rule_text};
pub use scatter::mark;
pub(crate) use wear::codes as color_codes;
pub use write::write_job;

/// The format this Tatter writes, and the newest it reads.
pub const FORMAT: i64 = 1;

/// Ending of a job file's name.
pub const ENDING: &str = ".tatter.toml";

const TOP_KEYS: [&str; 9] = ["format", "name", "garment", "patch", "placement", "scatter", "wear", "variation", "delivery"];
const GARMENT_KEYS: [&str; 5] = ["mesh", "mm_per_unit", "mm_per_uv", "map", "grain"];
const MAP_KEYS: [&str; 8] = ["file", "channels", "material", "tile", "transfer", "normal_y", "height_range_mm", "inverted"];
const PATCH_KEYS: [&str; 2] = ["name", "path"];
const PLACEMENT_KEYS: [&str; 14] = [
    "id",
    "patch",
    "at",
    "point",
    "part",
    "turn_deg",
    "size_mm",
    "mirror",
    "rules",
    "match",
    "match_strength",
    "match_relief",
    "edge",
    "grade",
];
const DELIVERY_KEYS: [&str; 1] = ["folder"];

/// Components by the letters of a packed map, in file order; `rgb` is three from red.
const COMPONENTS: [(&str, usize); 5] = [("r", 0), ("g", 1), ("b", 2), ("a", 3), ("rgb", 0)];

#[cfg(test)]
mod tests;
