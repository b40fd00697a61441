//! `tatter proof`.

use serde_json::{Value, json};
use tatter::proof::{PageReport, ProofImage, ProofOutput, ProofReport, ProofRequest, Sheen, ViewTransform, prove};
use tatter_core::image::LinearRgb;

use super::{BadArgument, Outcome, boxed};
use crate::args::{Proof, TransformArg};
use crate::term::{Term, seconds, warnings};

/// Draw a job's garment.
pub(crate) fn run(args: &Proof, term: &Term) -> Outcome {
    let task = term.task();
    let request = request(args)?;
    let output = ProofOutput { pictures: args.output.as_deref(), page: args.page.as_deref() };
    let report = prove(&args.job, &request, &output, &task).map_err(boxed)?;
    term.notes(&task);
    let machine = json!({
        "images": report.images.iter().map(image).collect::<Vec<_>>(),
        "page": report.page.as_ref().map(page),
        "adapter": { "name": report.adapter.name, "software": report.adapter.software },
        "triangles": report.triangles,
        "adapter_bytes": report.adapter_bytes,
        "seconds": seconds(&task),
        "warnings": warnings(&task),
    });
    term.result(&machine, &people(&report));
    Ok(0)
}

fn request(args: &Proof) -> Result<ProofRequest, Box<dyn tatter_core::explain::Explain>> {
    let plain = ProofRequest::default();
    let sheen = args.sheen.map_or(plain.sheen, |told| {
        let [r, g, b, roughness] = told.0;
        Sheen { color: LinearRgb([r, g, b]), roughness }
    });
    let within = |v: f32| (0.0..=1.0).contains(&v);
    if !sheen.color.0.into_iter().all(within) || !within(sheen.roughness) {
        let what = "--sheen takes three shares of light and a roughness, each 0 to 1";
        return Err(boxed(BadArgument::new(what, "Give, for example, --sheen 0.04,0.04,0.04,0.6")));
    }
    Ok(ProofRequest {
        views: if args.views.is_empty() { plain.views } else { args.views.clone() },
        turntable: args.turntable.map(usize::from),
        size: args.size.0,
        samples: u32::from(args.samples),
        before_after: args.before_after,
        channel: args.channel,
        environment: args.environment.clone(),
        exposure: args.exposure,
        transform: match args.view_transform {
            TransformArg::Neutral => ViewTransform::Neutral,
            TransformArg::Film => ViewTransform::Film,
            TransformArg::Plain => ViewTransform::Plain,
        },
        relief: args.relief,
        sheen,
        cutoff: args.cutoff,
        variation: args.variation.clone(),
    })
}

fn image(image: &ProofImage) -> Value {
    json!({ "path": image.path, "views": image.views, "size": image.size })
}

fn page(page: &PageReport) -> Value {
    json!({ "path": page.path, "bytes": page.bytes, "sides": page.sides, "close_ups": page.close_ups })
}

fn people(report: &ProofReport) -> String {
    let mut text = String::new();
    for image in &report.images {
        let [width, height] = image.size;
        text += &format!("{}  {width} x {height}  {}\n", image.path.display(), image.views.join(", "));
    }
    if let Some(page) = &report.page {
        let PageReport { path, bytes, sides, close_ups } = page;
        let kib = bytes.div_ceil(1024);
        text += &format!("{}  {kib} KiB  {}, {} close up\n", path.display(), sides.join(", "), close_ups.len());
    }
    let kind = if report.adapter.software { ", in software" } else { "" };
    text += &format!("Drawn by {}{kind}: {} triangles.\n", report.adapter.name, report.triangles);
    text
}
