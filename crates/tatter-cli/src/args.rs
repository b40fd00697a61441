//! Every argument, once: parser, help, man page and completions come from here.

mod color;
mod cut;
mod grain;
mod handoff;
mod matching;
mod place_of;
mod proof;
mod scale;
mod scatter;
mod variation;
mod wear;

use std::path::PathBuf;
use std::str::FromStr;

use clap::{Args, Parser, Subcommand, ValueEnum};
use tatter::variation::Which;
use tatter_core::channel::Channel;

pub(crate) use color::{Chart, ColorArgs};
pub(crate) use cut::Cut;
pub(crate) use grain::{Forget, Grain};
pub(crate) use handoff::{AlphaArg, Handoff, NormalYArg};
pub(crate) use matching::{EdgeArg, Match, MatchArg, MatchArgs, ReliefArg};
pub(crate) use place_of::Place as PlaceOf;
pub(crate) use proof::{Proof, TransformArg};
pub(crate) use scale::{ScaleArgs, ScaleByArg};
pub(crate) use scatter::Scatter;
pub(crate) use variation::Variation;
pub(crate) use wear::Wear;

/// Puts wear on digital garments: a photo of damaged cloth becomes a patch, the patch is laid on the garment at true
/// scale, and the garment's textures are redelivered under their own names.
#[derive(Parser, Debug)]
#[command(name = "tatter", version, max_term_width = 110, after_help = "Start with: tatter demo salt-ledger")]
pub(crate) struct Arguments {
    /// What to do
    #[command(subcommand)]
    pub(crate) verb: Verb,
    /// Print one JSON object on stdout; everything else goes to stderr
    #[arg(long, global = true, display_order = 900)]
    pub(crate) json: bool,
    /// No progress
    #[arg(long, global = true, display_order = 901)]
    pub(crate) quiet: bool,
}

#[derive(Subcommand, Debug)]
pub(crate) enum Verb {
    /// Run the whole job on a sample that it makes itself
    #[command(after_help = "Example: tatter demo salt-ledger")]
    Demo(Demo),
    /// Photo to patch: find the subject, its cover, colour, height, gaps
    #[command(after_help = "Example: tatter cut rope-burn.jpg -o rope-burn.patch --width-mm 120\n         \
        tatter cut --lights lights.toml -o rope-burn.patch --width-mm 120\n         \
        tatter cut --over-dark black.jpg --over-light white.jpg -o moth.patch --width-mm 60\n\
        Photograph only cloth that you may: garments, logos and prints of others can be protected.")]
    Cut(Box<Cut>),
    /// Textile parameters to patch, or to textures that repeat: cloth built thread by thread
    #[command(after_help = "Example: tatter weave denim --damage worn-through -o knee.patch\n         \
        tatter weave canvas --width-mm 40 -o textures/canvas\n\
        Cloths: duck, canvas, poplin, linen, denim, tweed, herringbone, satin, gauze, jersey (knitted).\n\
        Damage: rip, l-tear, moth-hole, burn, worn-through, hem, abrasion, darn, patch, snag, stain, scrap, each with \
        :length=MM,width=MM,along=weft|warp,surviving=0..1,age=0..1,at=X/Y,color=RRGGBB behind it.")]
    Weave(Box<Weave>),
    /// Thread count, weave and grain of a cloth photo
    #[command(after_help = "Example: tatter measure canvas.jpg --width-mm 80")]
    Measure(Measure),
    /// Read a mesh and its textures, say what they are, start a job
    #[command(after_help = "Example: tatter garment smock.glb --maps textures -o smock.tatter.toml")]
    Garment(GarmentArgs),
    /// Which way the warp runs in each UV island: counted in the textures, or told by an arrow
    #[command(after_help = "Example: tatter grain smock.tatter.toml\n         \
        tatter grain smock.tatter.toml --arrow 0.3,0.6,0.32,0.4\n         \
        tatter grain smock.tatter.toml --at 0.3,0.6 --turn 45\n\
        Patches lie along it, --turn 0 of `tatter place` is along the warp. Where nothing is known grain runs up the texture. \
        What an arrow says is never measured over; `--forget` takes it away.")]
    Grain(Grain),
    /// Lay a patch on the garment, list what lies there, or take it away
    #[command(after_help = "Example: tatter place smock.tatter.toml --patch rope-burn.patch --at 0.3,0.6 --turn 15")]
    Place(Place),
    /// Lay many patches by a rule and a seed, change a rule and run it again, or take it away
    #[command(
        after_help = "Example: tatter scatter smock.tatter.toml --patch moth-hole.patch:3 --patch rope-burn.patch --count 20 \
        --scale 0.6,1.2 --turn -30,30 --margin-mm 5\n         \
        tatter scatter smock.tatter.toml --again scatter --count 35\n\
        Results are ordinary placements: move one in the job file, or take it away with `tatter place JOB --remove ID`, and it \
        stays so when the rule is run again."
    )]
    Scatter(Box<Scatter>),
    /// Wear the garment's own cloth: fade, abrasion, creases, grime, where they come by themselves
    #[command(
        after_help = "Example: tatter wear smock.tatter.toml abrasion --edges-mm 8 --pucker-mm 7 --strength 0.8\n         \
        tatter wear smock.tatter.toml fade --facing up --strength 0.5\n         \
        tatter wear smock.tatter.toml grime --height 0,0.3 --uneven 0.9\n         \
        tatter wear smock.tatter.toml crease --along 0.2,0.4 --along 0.3,0.42 --spread-mm 4\n\
        Several of --height, --edges-mm, --seams-mm, --bends-mm, --bulges-mm, --hollows-mm, --facing, --along multiply; with none \
        of them it is everywhere. Results show after `tatter build`."
    )]
    Wear(Box<Wear>),
    /// Make, change, list or take away variations of the job: other dyes, states of wear, sizes
    #[command(after_help = "Example: tatter variation smock.tatter.toml black --dye #202022\n         \
        tatter variation smock.tatter.toml first-act --only hem,moths --strength hem=0.4\n         \
        tatter variation smock.tatter.toml crowd --texels 1024\n\
        `tatter build JOB --all` builds them, `tatter deliver JOB --all` delivers them beside the garment.")]
    Variation(Box<Variation>),
    /// Change how placements meet the colour of the cloth they lie on
    #[command(after_help = "Example: tatter match smock.tatter.toml elbow-1 --match redye --match-strength 0.8\n         \
        tatter match smock.tatter.toml elbow-1 hem-2 --grade slope=1.1/1.0/0.9,saturation=0.8\n\
        The next build shows it. docs/job-file.md says what the modes do.")]
    Match(Match),
    /// Compute the new textures into the job's folder, without touching the garment's files
    #[command(after_help = "Example: tatter build smock.tatter.toml")]
    Build(Build),
    /// Write the new textures over the garment's files: all of them or none
    #[command(after_help = "Example: tatter deliver smock.tatter.toml\n         tatter deliver smock.tatter.toml --undo")]
    Deliver(Deliver),
    /// Lit pictures of the garment with what lies on it, before anything is delivered
    #[command(after_help = "Example: tatter proof smock.tatter.toml -o proof.png\n         \
        tatter proof smock.tatter.toml -o elbow.png --view elbow-1 --before-after\n         \
        tatter proof smock.tatter.toml --page approval/\n         \
        tatter proof smock.tatter.toml -o turntable/ --turntable 36\n\
        Needs a graphics adapter: a card, or one in software.")]
    Proof(Box<Proof>),
    /// Hand the finished garment on: GLB, glTF, MaterialX, or maps named and packed by a profile
    #[command(after_help = "Example: tatter handoff smock.tatter.toml -o out/smock.glb --max-texels 2048\n         \
        tatter handoff smock.tatter.toml -o out/maps --profile packed-orm --normal-y down\n\
        The garment's own files stay as they are. docs/hand-off.md has the keys of profiles.")]
    Handoff(Handoff),
    /// Find faults in patches, textures and jobs
    #[command(after_help = "Example: tatter check rope-burn.patch smock.tatter.toml")]
    Check(Check),
    /// Open the desk: a window in which photos become patches, patches are laid on the garment by hand, and textures delivered
    #[command(after_help = "Example: tatter desk smock.tatter.toml rip.jpg\n\
        Starts the program tatter-desk, which lies beside this one or on the search path; docs/desk.md says more.")]
    Desk(Desk),
    /// Print a completion script for a shell
    #[command(after_help = "Example: tatter completions bash > tatter.bash")]
    Completions(Completions),
    /// Print the manual page
    #[command(after_help = "Example: tatter man | man -l -")]
    Man,
}

#[derive(Args, Debug)]
pub(crate) struct Demo {
    /// Folder to make [default: salt-ledger]
    #[arg(value_name = "DIR")]
    pub(crate) folder: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(crate) struct Desk {
    /// A job to open, and photos to cut
    #[arg(value_name = "JOB|PHOTO")]
    pub(crate) files: Vec<PathBuf>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum SubjectArg {
    /// Decide from the photo
    Auto,
    /// An injured region inside intact cloth
    Damage,
    /// A thing lying on a backing
    Piece,
}

#[derive(Args, Debug)]
pub(crate) struct Weave {
    /// Cloth to start from
    pub(crate) cloth: String,
    /// Patch folder to write, or a folder for textures that repeat
    #[arg(short, long, value_name = "NAME.patch|DIR")]
    pub(crate) output: PathBuf,
    /// What happened to it; may be repeated
    #[arg(long, value_name = "KIND[:KEY=VALUE,…]", allow_hyphen_values = true)]
    pub(crate) damage: Vec<String>,
    /// Side of the square maps in texels
    #[arg(long, value_name = "N", default_value_t = 2048, value_parser = whole::<usize, 16, 16384>)]
    pub(crate) texels: usize,
    /// Width of the cloth shown; textures move to whole repeats of the weave
    #[arg(long, value_name = "MM", default_value_t = 60.0)]
    pub(crate) width_mm: f32,
    /// plain, basket 2, rib 2, twill 2/1, twill 3/1 s, herringbone 2/2, satin 5, jersey, or a grid such as 1100/0110/0011/1001
    #[arg(long, value_name = "WEAVE")]
    pub(crate) weave: Option<String>,
    /// Yarn count of the warp, such as Ne7/2, 30tex, Nm8, 150den
    #[arg(long, value_name = "COUNT")]
    pub(crate) warp: Option<String>,
    /// Yarn count of the weft
    #[arg(long, value_name = "COUNT")]
    pub(crate) weft: Option<String>,
    /// Ends (warp threads) per centimetre
    #[arg(long, value_name = "N")]
    pub(crate) ends_per_cm: Option<f32>,
    /// Picks (weft threads) per centimetre
    #[arg(long, value_name = "N")]
    pub(crate) picks_per_cm: Option<f32>,
    /// cotton, linen, wool, silk, hemp, viscose, polyester
    #[arg(long, value_name = "FIBRE")]
    pub(crate) fibre: Option<String>,
    /// Direction of the last twist: s or z
    #[arg(long, value_name = "S|Z")]
    pub(crate) twist: Option<String>,
    /// Turns of the last twist in a metre
    #[arg(long, value_name = "N")]
    pub(crate) turns_per_m: Option<f32>,
    /// Share of a yarn that is fibre, the rest air: 0.5 woollen, 0.7 hard-twisted
    #[arg(long, value_name = "SHARE")]
    pub(crate) packing: Option<f32>,
    /// How much fibres differ in shade: 0.3 dyed in the piece, 1.5 a heather mixture
    #[arg(long, value_name = "N")]
    pub(crate) blend: Option<f32>,
    /// Colour of the warp's surface
    #[arg(long, value_name = "#RRGGBB")]
    pub(crate) warp_color: Option<String>,
    /// Colour of the weft's surface
    #[arg(long, value_name = "#RRGGBB")]
    pub(crate) weft_color: Option<String>,
    /// Colour of the undyed heart of the yarns, which wear lays bare
    #[arg(long, value_name = "#RRGGBB")]
    pub(crate) core_color: Option<String>,
    /// How deep the dye went, 0 to 1 through and through
    #[arg(long, value_name = "SHARE")]
    pub(crate) dye_depth: Option<f32>,
    /// Crimp of the warp in per cent
    #[arg(long, value_name = "PERCENT")]
    pub(crate) warp_crimp: Option<f32>,
    /// Thickness over breadth of the yarns, 0.3 to 1
    #[arg(long, value_name = "SHARE")]
    pub(crate) flattening: Option<f32>,
    /// Unevenness of the yarns' mass, 0 to 0.6
    #[arg(long, value_name = "SHARE")]
    pub(crate) irregularity: Option<f32>,
    /// Thick places per metre of yarn
    #[arg(long, value_name = "N")]
    pub(crate) slubs_per_m: Option<f32>,
    /// Length of fibre that stands out, per length of yarn
    #[arg(long, value_name = "N")]
    pub(crate) hairiness: Option<f32>,
    /// Unevenness of the spacing: 0 a drawing, 1 ordinary, 2 hand-woven
    #[arg(long, value_name = "N")]
    pub(crate) unevenness: Option<f32>,
    /// plain, singed, pressed, raised
    #[arg(long, value_name = "FINISH")]
    pub(crate) finish: Option<String>,
    /// Line the warp runs along in a patch and its photo, degrees counter-clockwise from image right
    #[arg(long, value_name = "DEG", default_value_t = 90.0, allow_hyphen_values = true, value_parser = finite)]
    pub(crate) grain_deg: f32,
    /// Also take a made photo of it, PNG or JPEG by its name; its truth is the patch
    #[arg(long, value_name = "FILE.png|FILE.jpg", value_parser = photo_file)]
    pub(crate) photo: Option<PathBuf>,
    /// Quality of a JPEG photo, 1 to 100
    #[arg(long, value_name = "N", default_value_t = 90, value_parser = whole::<u8, 1, 100>)]
    pub(crate) jpeg_quality: u8,
    /// Cast of the photo: what the camera makes of a grey card in red, green and blue, each 0.25 to 4; 1.15,1,0.8 is warm
    #[arg(long, value_name = "R,G,B", value_parser = cast, requires = "photo")]
    pub(crate) cast: Option<Numbers<3>>,
    /// Where the photo's light comes from, degrees counter-clockwise from image right
    #[arg(long, value_name = "DEG", allow_hyphen_values = true, requires = "photo")]
    pub(crate) light_from: Option<f32>,
    /// Elevation of that light above the cloth
    #[arg(long, value_name = "DEG", requires = "photo")]
    pub(crate) light_elevation: Option<f32>,
    /// Colour of the card behind the cloth in the photo
    #[arg(long, value_name = "#RRGGBB", requires = "photo")]
    pub(crate) backing: Option<String>,
    /// Seed of everything random
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u64, 0, { u64::MAX }>)]
    pub(crate) seed: u64,
}

#[derive(Args, Debug)]
pub(crate) struct Measure {
    /// Photo of cloth
    pub(crate) photo: PathBuf,
    /// Scale of the photo
    #[command(flatten)]
    pub(crate) scale: ScaleArgs,
    /// What of known colour lies in the photo
    #[command(flatten)]
    pub(crate) color: ColorArgs,
    /// Photo of an even card in the cloth's place, by which uneven light is evened out
    #[arg(long, value_name = "PHOTO")]
    pub(crate) flat: Option<PathBuf>,
    /// Warp direction in the photo, degrees counter-clockwise from image right
    #[arg(long, value_name = "DEG", allow_hyphen_values = true, value_parser = finite)]
    pub(crate) grain_deg: Option<f32>,
}

#[derive(Args, Debug)]
pub(crate) struct GarmentArgs {
    /// Mesh (glTF, GLB, OBJ, FBX), or a folder of textures
    #[arg(value_name = "MESH|DIR")]
    pub(crate) source: PathBuf,
    /// Folder with the garment's textures, when the mesh does not name them
    #[arg(long, value_name = "DIR")]
    pub(crate) maps: Option<PathBuf>,
    /// Job file to start
    #[arg(short, long, value_name = "NAME.tatter.toml")]
    pub(crate) output: Option<PathBuf>,
    /// Millimetres in one unit of the mesh [glTF: 1000]
    #[arg(long, value_name = "MM", value_parser = length)]
    pub(crate) mm_per_unit: Option<f32>,
    /// Millimetres of cloth in one UV unit [computed from the mesh]
    #[arg(long, value_name = "MM", value_parser = length)]
    pub(crate) mm_per_uv: Option<f32>,
    /// Write textures that lie inside the mesh file into this folder, so that they can be redelivered
    #[arg(long, value_name = "DIR")]
    pub(crate) unpack: Option<PathBuf>,
    /// Add plain textures of these channels (height, normal, metallic, occlusion, opacity), separated by commas, where
    /// the garment has none
    #[arg(long, value_name = "CHANNEL", value_delimiter = ',', requires = "output", value_parser = channel)]
    pub(crate) add: Vec<Channel>,
}

#[derive(Args, Debug)]
pub(crate) struct Place {
    /// Job file
    pub(crate) job: PathBuf,
    /// Patch folder to lay on
    #[arg(long, value_name = "NAME.patch", required_unless_present_any = ["list", "remove"])]
    pub(crate) patch: Option<PathBuf>,
    /// Where: texture coordinates, v down
    #[arg(long, value_name = "U,V", allow_hyphen_values = true, group = "spot")]
    pub(crate) at: Option<Numbers<2>>,
    /// Where: a point near the surface, in the mesh's own unit
    #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, group = "spot")]
    pub(crate) point: Option<Numbers<3>>,
    /// Where: a mesh part and texture coordinates in it
    #[arg(long, value_name = "PART:U,V", group = "spot")]
    pub(crate) on: Option<String>,
    /// Turn from the garment's grain, degrees counter-clockwise as seen from outside
    #[arg(long, value_name = "DEG", default_value_t = 0.0, allow_hyphen_values = true, value_parser = finite)]
    pub(crate) turn: f32,
    /// Side of the patch's canvas on the cloth [default: its own size]
    #[arg(long, value_name = "MM", conflicts_with = "scale", value_parser = length)]
    pub(crate) size_mm: Option<f32>,
    /// Times its own size
    #[arg(long, value_name = "FACTOR", value_parser = positive)]
    pub(crate) scale: Option<f32>,
    /// Mirror left to right
    #[arg(long)]
    pub(crate) mirror: bool,
    /// Rule and strength of a channel, such as height=replace:0.8; may be repeated
    #[arg(long = "rule", value_name = "CHANNEL=RULE[:STRENGTH]")]
    pub(crate) rules: Vec<String>,
    /// Also write a PNG of it before and after, lit, at true size
    #[arg(long, value_name = "FILE.png", value_parser = png, conflicts_with_all = ["remove", "list"])]
    pub(crate) preview: Option<PathBuf>,
    /// How it meets the colour of the cloth
    #[command(flatten)]
    pub(crate) matching: MatchArgs,
    /// Take a placement away
    #[arg(long, value_name = "ID", conflicts_with_all = ["patch", "spot", "list"])]
    pub(crate) remove: Option<String>,
    /// List what lies on the garment
    #[arg(long, conflicts_with_all = ["patch", "spot"])]
    pub(crate) list: bool,
}

#[derive(Args, Debug)]
pub(crate) struct Build {
    /// Job file
    pub(crate) job: PathBuf,
    /// Folder for the new textures; variations go into folders of their names in it [default: NAME.tatter/built]
    #[arg(short, long, value_name = "DIR")]
    pub(crate) output: Option<PathBuf>,
    /// States of the job
    #[command(flatten)]
    pub(crate) states: States,
    /// Also write a PNG of the placements (24 at most) before and after, lit, at true size
    #[arg(long, value_name = "FILE.png", value_parser = png)]
    pub(crate) preview: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(crate) struct States {
    /// This variation of the job in place of the job itself
    #[arg(long, value_name = "NAME")]
    pub(crate) variation: Option<String>,
    /// The job itself and every variation
    #[arg(long, conflicts_with = "variation")]
    pub(crate) all: bool,
    /// Go on: do it again whenever the job, a patch or a source of the garment is saved, until Ctrl-C
    #[arg(long)]
    pub(crate) watch: bool,
}

impl Arguments {
    /// The parser. A value may be below zero wherever one is taken: it is then told what is wrong with it, not that it is no option.
    pub(crate) fn parser() -> clap::Command {
        fn numbers(command: clap::Command) -> clap::Command {
            command
                .mut_args(|argument| {
                    let takes_value = argument.get_long().is_some() && argument.get_action().takes_values();
                    if takes_value { argument.allow_negative_numbers(true) } else { argument }
                })
                .mut_subcommands(numbers)
        }
        numbers(<Self as clap::CommandFactory>::command())
    }
}

impl States {
    pub(crate) fn which(&self) -> Which<'_> {
        match &self.variation {
            Some(name) => Which::One(name),
            None if self.all => Which::All,
            None => Which::Job,
        }
    }
}

#[derive(Args, Debug)]
pub(crate) struct Deliver {
    /// Job file
    pub(crate) job: PathBuf,
    /// States of the job; variations go into folders of their own, never over the garment's files
    #[command(flatten)]
    pub(crate) states: States,
    /// Put back what was there before the last delivery
    #[arg(long, conflicts_with_all = ["adopt", "leave", "variation", "all", "watch"])]
    pub(crate) undo: bool,
    /// A texture somebody else changed becomes the new pristine
    #[arg(long, conflicts_with = "leave")]
    pub(crate) adopt: bool,
    /// A texture somebody else changed is left as it is
    #[arg(long)]
    pub(crate) leave: bool,
}

#[derive(Args, Debug)]
pub(crate) struct Check {
    /// Patch folders, texture folders, meshes, job files
    #[arg(required = true, value_name = "PATCH|DIR|MESH|JOB")]
    pub(crate) things: Vec<PathBuf>,
}

#[derive(Args, Debug)]
pub(crate) struct Completions {
    /// Shell
    #[arg(value_enum)]
    pub(crate) shell: Shell,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum Shell {
    /// Bash
    Bash,
    /// Elvish
    Elvish,
    /// Fish
    Fish,
    /// `PowerShell`
    Powershell,
    /// Zsh
    Zsh,
}

/// `N` numbers with commas between.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Numbers<const N: usize>(pub(crate) [f32; N]);

impl<const N: usize> FromStr for Numbers<N> {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let parts: Vec<f32> = text
            .split(',')
            .map(|part| part.trim().parse::<f32>().ok().ok_or_else(|| format!("'{}' is not a number", part.trim())))
            .collect::<Result<_, _>>()?;
        if parts.iter().any(|part| !part.is_finite()) {
            return Err("numbers must be finite".to_owned());
        }
        let count = parts.len();
        parts.try_into().ok().map(Self).ok_or_else(|| format!("{N} numbers are wanted, {count} given"))
    }
}

/// A picture that is written as PNG: another ending would lie.
fn png(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    let is_png = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("png"));
    if is_png { Ok(path) } else { Err("a name that ends in .png is wanted".to_owned()) }
}

/// A made photo.
fn photo_file(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    let known = path.extension().is_some_and(|ending| ["png", "jpg", "jpeg"].iter().any(|e| ending.eq_ignore_ascii_case(e)));
    if known { Ok(path) } else { Err("a name that ends in .png or .jpg is wanted".to_owned()) }
}

/// What a grey card reads in three channels.
fn cast(text: &str) -> Result<Numbers<3>, String> {
    let cast: Numbers<3> = text.parse()?;
    if cast.0.iter().all(|c| (0.25..=4.0).contains(c)) {
        Ok(cast)
    } else {
        Err("three numbers from 0.25 to 4 are wanted".to_owned())
    }
}

/// Two points apart from each other, and the length between them.
fn ruler(text: &str) -> Result<Numbers<5>, String> {
    let ruler: Numbers<5> = text.parse()?;
    let [x0, y0, x1, y1, mm] = ruler.0;
    if [x0, y0] == [x1, y1] {
        return Err("its two points are the same pixel".to_owned());
    }
    if mm > 0.0 { Ok(ruler) } else { Err("millimetres above zero are wanted at its end".to_owned()) }
}

/// Width and height in millimetres.
fn two_lengths(text: &str) -> Result<Numbers<2>, String> {
    let wanted = || "millimetres are wanted as WIDTHxHEIGHT, such as 60x40".to_owned();
    let (width, height) = text.split_once(['x', '×']).ok_or_else(wanted)?;
    let side = |text: &str| length(text.trim()).map_err(|error| format!("{error}, as in 60x40"));
    Ok(Numbers([side(width)?, side(height)?]))
}

/// A place, and a radius around it when there is one.
fn spot(text: &str) -> Result<(Numbers<2>, Option<f32>), String> {
    if text.split(',').count() == 2 {
        return Ok((text.parse()?, None));
    }
    let Numbers([x, y, radius]) = circle(text)?;
    Ok((Numbers([x, y]), Some(radius)))
}

/// Of a thing that gives light back.
fn reflectance(text: &str) -> Result<f32, String> {
    let fits = |number: &f32| (0.01..=1.0).contains(number);
    finite(text).ok().filter(fits).ok_or_else(|| "a number from 0.01 to 1 is wanted".to_owned())
}

/// A centre and a radius.
fn circle(text: &str) -> Result<Numbers<3>, String> {
    let circle: Numbers<3> = text.parse()?;
    if circle.0[2] > 0.0 { Ok(circle) } else { Err("a radius above zero is wanted".to_owned()) }
}

/// A number that is one.
fn finite(text: &str) -> Result<f32, String> {
    text.parse().ok().filter(|number: &f32| number.is_finite()).ok_or_else(|| "a number is wanted".to_owned())
}

/// A count or factor.
fn positive(text: &str) -> Result<f32, String> {
    let fits = |number: &f32| (1e-4..=1e4).contains(number);
    finite(text).ok().filter(fits).ok_or_else(|| "a number above zero is wanted, 10000 at most".to_owned())
}

/// From nothing to all.
fn share(text: &str) -> Result<f32, String> {
    finite(text).ok().filter(|number| (0.0..=1.0).contains(number)).ok_or_else(|| "a number from 0 to 1 is wanted".to_owned())
}

/// Millimetres: from a tenth of a micrometre to a hundred metres, beyond which a unit was mistaken.
fn length(text: &str) -> Result<f32, String> {
    let fits = |number: &f32| (1e-4..=1e5).contains(number);
    finite(text).ok().filter(fits).ok_or_else(|| "millimetres from 0.0001 to 100000 are wanted".to_owned())
}

/// A whole number within bounds.
fn whole<T: TryFrom<u64>, const LEAST: u64, const MOST: u64>(text: &str) -> Result<T, String> {
    let fits = text.parse::<u64>().ok().filter(|number| (LEAST..=MOST).contains(number));
    fits.and_then(|number| T::try_from(number).ok()).ok_or_else(|| match MOST {
        u64::MAX => format!("a whole number from {LEAST} is wanted"),
        _ => format!("a whole number from {LEAST} to {MOST} is wanted"),
    })
}

fn channel(text: &str) -> Result<Channel, String> {
    Channel::from_name(text).ok_or_else(|| {
        let known: Vec<&str> = Channel::ALL.into_iter().filter(|c| c.info().on_garment).map(Channel::name).collect();
        format!("no such channel; there are {}", known.join(", "))
    })
}
