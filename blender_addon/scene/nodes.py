"""Shader nodes, made and joined in one go, so that the code reads as the formula it stands for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import bpy

SOCKETS = {"VALUE": "NodeSocketFloat", "VECTOR": "NodeSocketVector", "RGBA": "NodeSocketColor"}


class Graph:
    """A node tree that is being built. Where an input is wanted, a socket is linked, a number or a tuple is
    set, and None leaves it as it is.
    """

    def __init__(self, tree: Any) -> None:
        self.tree = tree

    def node(self, kind: str, name: str = "", **inputs: Any) -> Any:
        """A new node of Blender's ShaderNode kinds; inputs by name, written with _ for a space."""
        made = self.tree.nodes.new(f"ShaderNode{kind}")
        if name:
            made.name = made.label = name
        for key, value in inputs.items():
            self.give(made.inputs[key.replace("_", " ")], value)
        return made

    def give(self, socket: Any, value: Any) -> None:
        """Link a socket, or set it."""
        if isinstance(value, (int, float, tuple)):
            socket.default_value = value
        elif value is not None:
            self.tree.links.new(value, socket)

    def maths(self, operation: str, *inputs: Any, clamp: bool = False) -> Any:
        """A number worked out of numbers."""
        made = self.node("Math")
        made.operation, made.use_clamp = operation, clamp
        for socket, value in zip(made.inputs, inputs, strict=False):
            self.give(socket, value)
        return made.outputs[0]

    def vectors(self, operation: str, first: Any = None, second: Any = None, name: str = "") -> Any:
        """A vector worked out of vectors, or a number: what DOT_PRODUCT, DISTANCE and LENGTH yield."""
        made = self.node("VectorMath", name)
        made.operation = operation
        self.give(made.inputs[0], first)
        self.give(made.inputs["Scale" if operation == "SCALE" else 1], second)
        is_number = operation in ("DOT_PRODUCT", "DISTANCE", "LENGTH")
        return made.outputs["Value" if is_number else "Vector"]

    def scaled(self, factor: Any, colour: Any = None, name: str = "") -> Any:
        """A colour times a number."""
        return self.vectors("SCALE", colour, factor, name)

    def total(self, *terms: Any) -> Any:
        """The sum of colours."""
        added = terms[0]
        for term in terms[1:]:
            added = self.vectors("ADD", added, term)
        return added

    def apart(self, vector: Any) -> Any:
        """The three parts of a vector."""
        made = self.node("SeparateXYZ")
        self.give(made.inputs[0], vector)
        return made.outputs

    def number_of(self, owner: str, name: str) -> Any:
        """A property that is a number: of the VIEW_LAYER (its world), or an attribute of the GEOMETRY."""
        return self._attribute(owner, name).outputs["Fac"]

    def vector_of(self, owner: str, name: str) -> Any:
        """Likewise one of three numbers."""
        return self._attribute(owner, name).outputs["Vector"]

    def _attribute(self, owner: str, name: str) -> Any:
        made = self.node("Attribute")
        made.attribute_type, made.attribute_name = owner, name
        return made

    def both(self, first: Any, second: Any) -> Any:
        """Two shaders added."""
        made = self.node("AddShader")
        self.give(made.inputs[0], first)
        self.give(made.inputs[1], second)
        return made.outputs[0]

    def mixed(self, factor: Any, without: Any, with_it: Any) -> Any:
        """A shader of two, by the share of the second. Cycles skips a shader whose share is zero."""
        made = self.node("MixShader")
        for socket, value in zip(made.inputs, (factor, without, with_it), strict=True):
            self.give(socket, value)
        return made.outputs[0]

    def group(self, name: str, formula: Callable[..., Any], *inputs: Any) -> Any:
        """The outcome of a formula of these sockets, formula(graph, *sockets), in a tree of its own. Blender
        goes through a whole tree at each node that comes to it, so two small ones are made sooner than one.
        """
        tree: Any = bpy.data.node_groups.new(name, "ShaderNodeTree")
        inner = Graph(tree)
        for number, socket in enumerate(inputs):
            tree.interface.new_socket(str(number), in_out="INPUT", socket_type=SOCKETS[socket.type])
        arriving = tree.nodes.new("NodeGroupInput").outputs
        outcome = formula(inner, *list(arriving)[: len(inputs)])
        tree.interface.new_socket("Outcome", in_out="OUTPUT", socket_type=SOCKETS[outcome.type])
        inner.give(tree.nodes.new("NodeGroupOutput").inputs[0], outcome)
        made = self.node("Group")
        made.node_tree = tree
        made.label = name
        for group_input, socket in zip(made.inputs, inputs, strict=True):
            self.give(group_input, socket)
        return made.outputs[0]

    def end(self, surface: Any, kind: str = "Material", engine: str = "ALL") -> None:
        """Use a shader as the output of the material, or of the World, in ALL engines, CYCLES or EEVEE."""
        made = self.node(f"Output{kind}", Surface=surface)
        made.target = engine
