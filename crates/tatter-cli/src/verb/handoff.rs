//! `tatter handoff`.

use serde_json::{Value, json};
use tatter::handoff::{HandedFile, HandoffRequest, HandoffSummary, Inside, hand_on};
use tatter_core::channel::Channel;
use tatter_core::image::{NormalY, Size};
use tatter_core::model::AlphaChoice;
use tatter_core::task::Task;

use super::build::channel_names;
use super::{Outcome, boxed};
use crate::args::{AlphaArg, Handoff, NormalYArg};
use crate::term::{Term, seconds, warnings};

/// Hand on a finished garment.
pub(crate) fn run(args: &Handoff, term: &Term) -> Outcome {
    let task = term.task();
    let request = HandoffRequest {
        job: args.job.clone(),
        output: args.output.clone(),
        profile: args.profile.clone(),
        max_texels: args.max_texels,
        normal_y: args.normal_y.map(|way| match way {
            NormalYArg::Up => NormalY::Up,
            NormalYArg::Down => NormalY::Down,
        }),
        alpha: args.alpha.map(|alpha| match alpha {
            AlphaArg::Auto => AlphaChoice::Auto,
            AlphaArg::Opaque => AlphaChoice::Opaque,
            AlphaArg::Mask => AlphaChoice::Mask,
            AlphaArg::Blend => AlphaChoice::Blend,
        }),
        variation: args.variation.clone(),
        replace: args.replace,
    };
    let summary = hand_on(&request, &task).map_err(boxed)?;
    term.notes(&task);
    term.result(&machine(&summary, &task), &people(&summary));
    Ok(0)
}

fn machine(summary: &HandoffSummary, task: &Task) -> Value {
    json!({
        "profile": summary.profile,
        "files": summary.files.iter().map(file).collect::<Vec<_>>(),
        "inside": summary.inside.iter().map(inside).collect::<Vec<_>>(),
        "triangles": summary.triangles,
        "seconds": seconds(task),
        "warnings": warnings(task),
    })
}

fn file(file: &HandedFile) -> Value {
    json!({
        "path": file.path,
        "role": file.role,
        "channel": channel(&file.channels),
        "size": file.size.map(sides),
        "bytes": file.bytes,
        "replaced": file.replaced,
    })
}

fn inside(one: &Inside) -> Value {
    json!({ "name": one.name, "channel": channel(&one.channels), "size": sides(one.size), "bytes": one.bytes })
}

fn channel(channels: &[Channel]) -> Option<String> {
    (!channels.is_empty()).then(|| channel_names(channels))
}

fn sides(size: Size) -> [usize; 2] {
    [size.width, size.height]
}

fn people(summary: &HandoffSummary) -> String {
    let mut text = format!("{:<52} {:<30} {:>12} {:>10}\n", "file", "holds", "texels", "KiB");
    let mut row = |name: &str, holds: &str, size: Option<Size>, bytes: u64| {
        let texels = size.map(|size| format!("{} × {}", size.width, size.height)).unwrap_or_default();
        text += &format!("{name:<52} {holds:<30} {texels:>12} {:>10}\n", bytes.div_ceil(1024));
    };
    for file in &summary.files {
        let holds = channel(&file.channels).unwrap_or_else(|| match summary.triangles {
            Some(triangles) if file.role == "garment" => format!("{triangles} triangles"),
            _ => file.role.clone(),
        });
        row(&file.path.display().to_string(), &holds, file.size, file.bytes);
    }
    for one in &summary.inside {
        row(&format!("  inside: {}", one.name), &channel_names(&one.channels), Some(one.size), one.bytes);
    }
    for file in summary.files.iter().filter(|file| file.replaced) {
        text += &format!("overwritten as asked: {}\n", file.path.display());
    }
    text
}
