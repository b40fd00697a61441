//! MaterialX 1.39 documents: an `OpenPBR` surface a material, its maps as image nodes with relative paths.
//!
//! Sources: MaterialX Specification 1.39 (Academy Software Foundation): standard nodes, colour space attributes; the `OpenPBR`
//! Surface specification 1.1. `OpenPBR` has no occlusion, so that map lies beside the document and is not connected.

use std::fmt::Write as _;

use tatter_core::channel::Channel;
use tatter_core::image::{Layout, NormalY};
use tatter_core::model::{Source, TextureRecipe};

use crate::mesh::Factors;

/// One map of a material.
#[derive(Clone, Debug)]
pub struct MtlxImage {
    /// Relative to the document, `/` between folders; `<UDIM>` stands for the number of a UV tile.
    pub file: String,
    /// What its components hold, and what kind of file it is.
    pub recipe: TextureRecipe,
}

/// A material of a document.
#[derive(Clone, Debug)]
pub struct MtlxMaterial {
    /// Its name in the garment.
    pub name: String,
    /// Its maps.
    pub images: Vec<MtlxImage>,
    /// Whether opacity counts.
    pub see_through: bool,
    /// Which way green points in its normal map.
    pub normal_y: NormalY,
    /// What its maps are multiplied with; without a map the value itself.
    pub factors: Factors,
    /// Fuzz of raised fibres: linear colour, and roughness.
    pub sheen: Option<([f32; 3], f32)>,
}

/// A document with all materials. Names that the format does not allow are written with `_`, and told apart by a number.
pub fn write_mtlx(materials: &[MtlxMaterial]) -> String {
    let mut text = "<?xml version=\"1.0\"?>\n<materialx version=\"1.39\" colorspace=\"lin_rec709\">\n".to_owned();
    let mut taken: Vec<String> = Vec::new();
    for material in materials {
        let wanted = identifier(&material.name);
        let other = (2..).map(|n| format!("{wanted}_{n}"));
        let name = std::iter::once(wanted.clone()).chain(other).find(|name| !taken.contains(name)).unwrap_or(wanted);
        text += &one(material, &name);
        taken.push(name);
    }
    text + "</materialx>\n"
}

/// What the format allows as a name: letters, digits and `_`, no digit first.
fn identifier(name: &str) -> String {
    let plain: String = name.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '_' }).collect();
    if plain.is_empty() || plain.starts_with(|c: char| c.is_ascii_digit()) { format!("m_{plain}") } else { plain }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// Nodes of one graph while they are put together.
#[derive(Default)]
struct Graph {
    nodes: String,
    outputs: String,
    images: Vec<usize>,
}

impl Graph {
    fn node(&mut self, kind: &str, name: &str, made: &str, inputs: &[String]) -> String {
        let _ = writeln!(self.nodes, "    <{kind} name=\"{name}\" type=\"{made}\">");
        for input in inputs {
            let _ = writeln!(self.nodes, "      {input}");
        }
        let _ = writeln!(self.nodes, "    </{kind}>");
        name.to_owned()
    }

    fn output(&mut self, name: &str, made: &str, node: &str) {
        let _ = writeln!(self.outputs, "    <output name=\"{name}\" type=\"{made}\" nodename=\"{node}\" />");
    }
}

fn from_node(input: &str, kind: &str, node: &str) -> String {
    format!("<input name=\"{input}\" type=\"{kind}\" nodename=\"{node}\" />")
}

fn number(input: &str, kind: &str, value: impl std::fmt::Display) -> String {
    format!("<input name=\"{input}\" type=\"{kind}\" value=\"{value}\" />")
}

fn triple([a, b, c]: [f32; 3]) -> String {
    format!("{a}, {b}, {c}")
}

fn one(material: &MtlxMaterial, name: &str) -> String {
    let mut graph = Graph::default();
    let [r, g, b, _] = material.factors.base_color;
    let color = color(material, &mut graph, [r, g, b]);
    let roughness = scalar(material, &mut graph, Channel::Roughness, material.factors.roughness);
    let metallic = scalar(material, &mut graph, Channel::Metallic, material.factors.metallic);
    let opacity = material.see_through && scalar(material, &mut graph, Channel::Opacity, 1.0);
    let normal = normal(material, &mut graph);
    let of_graph = |input: &str, kind: &str, output: &str| {
        format!("<input name=\"{input}\" type=\"{kind}\" nodegraph=\"NG_{name}\" output=\"{output}\" />")
    };
    let or_value = |there: bool, input: &str, kind: &str, output: &str, value: String| {
        if there { of_graph(input, kind, output) } else { number(input, kind, value) }
    };
    let mut inputs = vec![
        or_value(color, "base_color", "color3", "base_color", triple([r, g, b])),
        or_value(metallic, "base_metalness", "float", "metallic", material.factors.metallic.to_string()),
        or_value(roughness, "specular_roughness", "float", "roughness", material.factors.roughness.to_string()),
    ];
    if let Some((color, roughness)) = material.sheen {
        inputs.push(number("fuzz_weight", "float", 1));
        inputs.push(number("fuzz_color", "color3", triple(color)));
        inputs.push(number("fuzz_roughness", "float", roughness));
    }
    if opacity {
        inputs.push(of_graph("geometry_opacity", "float", "opacity"));
    }
    if normal {
        inputs.push(of_graph("geometry_normal", "vector3", "normal"));
    }
    let mut text = String::new();
    if !graph.nodes.is_empty() {
        let _ = writeln!(text, "  <nodegraph name=\"NG_{name}\">\n{}{}  </nodegraph>", graph.nodes, graph.outputs);
    }
    let inputs: String = inputs.iter().map(|input| format!("    {input}\n")).collect();
    let _ = writeln!(text, "  <open_pbr_surface name=\"SR_{name}\" type=\"surfaceshader\">\n{inputs}  </open_pbr_surface>");
    let surface = from_node("surfaceshader", "surfaceshader", &format!("SR_{name}"));
    let _ = writeln!(text, "  <surfacematerial name=\"{name}\" type=\"material\">\n    {surface}\n  </surfacematerial>");
    text
}

/// The map that holds a channel.
fn find(material: &MtlxMaterial, channel: Channel) -> Option<(usize, &MtlxImage)> {
    material.images.iter().enumerate().find(|(_, image)| image.recipe.component_of(channel).is_some())
}

/// The image node of a map, made once; its name and type.
fn image(graph: &mut Graph, number: usize, image: &MtlxImage) -> (String, &'static str) {
    let holds = |channel| image.recipe.component_of(channel).is_some();
    let kind = match (image.recipe.layout, holds(Channel::BaseColor)) {
        (Layout::Gray | Layout::GrayAlpha, _) => "float",
        (Layout::Rgb, true) => "color3",
        (Layout::Rgba, true) => "color4",
        (Layout::Rgb, false) => "vector3",
        (Layout::Rgba, false) => "vector4",
    };
    let name = format!("image_{}", identifier(&image.recipe.name));
    if !graph.images.contains(&number) {
        graph.images.push(number);
        let space = match (holds(Channel::BaseColor), image.recipe.picture.is_float()) {
            (true, false) => "srgb_texture",
            (true, true) => "lin_rec709",
            (false, _) => "none",
        };
        let file = escaped(&image.file);
        let input = format!("<input name=\"file\" type=\"filename\" value=\"{file}\" colorspace=\"{space}\" />");
        graph.node("image", &name, kind, &[input]);
    }
    (name, kind)
}

fn color(material: &MtlxMaterial, graph: &mut Graph, factor: [f32; 3]) -> bool {
    let Some((number_of, map)) = find(material, Channel::BaseColor) else { return false };
    let (mut node, kind) = image(graph, number_of, map);
    if kind == "color4" {
        node = graph.node("convert", "base_color_rgb", "color3", &[from_node("in", kind, &node)]);
    }
    if factor != [1.0; 3] {
        let inputs = [from_node("in1", "color3", &node), number("in2", "color3", triple(factor))];
        node = graph.node("multiply", "base_color_times", "color3", &inputs);
    }
    graph.output("base_color", "color3", &node);
    true
}

fn scalar(material: &MtlxMaterial, graph: &mut Graph, channel: Channel, factor: f32) -> bool {
    let Some((number_of, map)) = find(material, channel) else { return false };
    let Some(component) = map.recipe.component_of(channel) else { return false };
    let name = channel.name();
    let (mut node, kind) = image(graph, number_of, map);
    if kind != "float" {
        let inputs = [from_node("in", kind, &node), number("index", "integer", component.at)];
        node = graph.node("extract", &format!("{name}_part"), "float", &inputs);
    }
    if matches!(component.source, Source::Channel { inverted: true, .. }) {
        node = graph.node("invert", &format!("{name}_inverted"), "float", &[from_node("in", "float", &node)]);
    }
    if factor != 1.0 {
        let inputs = [from_node("in1", "float", &node), number("in2", "float", factor)];
        node = graph.node("multiply", &format!("{name}_times"), "float", &inputs);
    }
    graph.output(name, "float", &node);
    true
}

fn normal(material: &MtlxMaterial, graph: &mut Graph) -> bool {
    let Some((number_of, map)) = find(material, Channel::Normal) else { return false };
    let (mut node, _) = image(graph, number_of, map);
    // The normal map node wants +Y up, coded 0..1; ours may point down, and are -1..1 in float files.
    let coded = match (map.recipe.picture.is_float(), material.normal_y) {
        (false, NormalY::Up) => None,
        (false, NormalY::Down) => Some(([1.0, -1.0, 1.0], [0.0, 1.0, 0.0])),
        (true, NormalY::Up) => Some(([0.5; 3], [0.5; 3])),
        (true, NormalY::Down) => Some(([0.5, -0.5, 0.5], [0.5; 3])),
    };
    if let Some((times, plus)) = coded {
        let inputs = [from_node("in1", "vector3", &node), number("in2", "vector3", triple(times))];
        node = graph.node("multiply", "normal_times", "vector3", &inputs);
        let inputs = [from_node("in1", "vector3", &node), number("in2", "vector3", triple(plus))];
        node = graph.node("add", "normal_up", "vector3", &inputs);
    }
    let inputs = [from_node("in", "vector3", &node), number("scale", "float", material.factors.normal_scale)];
    let node = graph.node("normalmap", "normal_world", "vector3", &inputs);
    graph.output("normal", "vector3", &node);
    true
}
