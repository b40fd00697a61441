"""Checks MaterialX documents against the standard libraries of the PyPI package MaterialX (pinned in requirements.txt).

    python3 tools/mtlx-check/check.py FILE.mtlx ...

Each document must be valid, every node must have a definition in the standard libraries, every input one in its node's
definition, every map must lie where the document says, and a shader must come out of every material. Fails on any fault.
"""

import sys
from pathlib import Path

import MaterialX as mx
import MaterialX.PyMaterialXGenGlsl as glsl
import MaterialX.PyMaterialXGenShader as gen


def libraries():
    library = mx.createDocument()
    mx.loadLibraries(mx.getDefaultDataLibraryFolders(), mx.getDefaultDataSearchPath(), library)
    return library


def faults(path, library):
    document = mx.createDocument()
    mx.readFromXmlFile(document, str(path))
    if document.getVersionString() != "1.39":
        yield f"version {document.getVersionString()}, not 1.39"
    # Named before the libraries are taken in, whose nodes are not ours to judge.
    names = [element.getNamePath() for element in document.traverseTree() if element.isA(mx.Node)]
    document.importLibrary(library)
    valid, message = document.validate()
    if not valid:
        yield f"not valid: {message.strip()}"
    nodes = [document.getDescendant(name) for name in names]
    if not nodes:
        yield "no nodes"
    for node in nodes:
        definition = node.getNodeDef()
        if definition is None:
            yield f"{node.getNamePath()} ({node.getCategory()}) has no definition"
            continue
        for given in node.getInputs():
            known = definition.getActiveInput(given.getName())
            if known is None or known.getType() != given.getType():
                yield f"{node.getNamePath()}: its definition has no input {given.getName()} of type {given.getType()}"
            if given.getType() == "filename":
                if given.getAttribute("colorspace") not in ("srgb_texture", "lin_rec709", "none"):
                    yield f"{node.getNamePath()}: colour space '{given.getAttribute('colorspace')}'"
                pattern = given.getValueString().replace("<UDIM>", "[1-9][0-9][0-9][0-9]")
                if Path(pattern).is_absolute() or not list(path.parent.glob(pattern)):
                    yield f"{node.getNamePath()}: no map {given.getValueString()} beside the document"
    materials = [node for node in nodes if node.getType() == "material"]
    if not materials:
        yield "no material"
    yield from shaders(materials)


def shaders(materials):
    generator = glsl.GlslShaderGenerator.create()
    context = gen.GenContext(generator)
    context.registerSourceCodeSearchPath(mx.getDefaultDataSearchPath())
    for material in materials:
        surfaces = mx.getShaderNodes(material)
        if not surfaces:
            yield f"{material.getName()} has no surface"
        for surface in surfaces:
            try:
                made = generator.generate(surface.getName(), surface, context).getSourceCode("pixel")
            except (LookupError, RuntimeError, ValueError) as error:
                made, why = "", error
            else:
                why = "it is empty"
            if not made:
                yield f"{surface.getName()}: no shader comes out ({why})"


def main():
    paths = [Path(argument) for argument in sys.argv[1:]]
    if not paths:
        sys.exit("usage: check.py FILE.mtlx ...")
    library = libraries()
    failed = False
    for path in paths:
        found = list(faults(path, library))
        print(f"{path}: {len(found)} faults")
        for fault in found:
            print(f"  {fault}")
        failed = failed or bool(found)
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
