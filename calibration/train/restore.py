"""A network as training needs it, from the ONNX file that was made of one: to go on from weights of which nothing else
was kept.

The file holds each convolution with its normalisation multiplied in. Pictures tell the normalisations apart again: over
a batch of them each is set to leave what the file says, whatever its batch's mean and spread are.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import onnx
import torch
from onnx import numpy_helper
from torch import nn

from calibration.train.crop_model import CropModel

__all__ = ["restore"]


@torch.no_grad()
def restore(model: CropModel, path: Path, crops: torch.Tensor) -> None:
    """Gives the model the weights of the file.

    crops: (n, 3, size, size) in -1..1, some hundred of the kind that it will be trained on, on the model's device.
    Raises ValueError where the file holds another network.
    """
    graph = onnx.load(str(path)).graph
    stored = {one.name: torch.from_numpy(numpy_helper.to_array(one).copy()) for one in graph.initializer}
    nodes = [node for node in graph.node if node.op_type in ("Conv", "Gemm")]
    pairs = list(_with_normalisations(_called(model, crops[:2])))
    if len(nodes) != len(pairs):
        raise ValueError(f"{path} holds another network: {len(nodes)} layers instead of {len(pairs)}")
    handles = []
    for node, (layer, norm) in zip(nodes, pairs, strict=True):
        weight, bias = (stored[name].to(crops.device) for name in node.input[1:3])
        if weight.shape != layer.weight.shape:
            weight = _unfolded(weight)
        if weight.shape != layer.weight.shape:
            raise ValueError(f"{path} holds another network: {tuple(weight.shape)} in {node.name}")
        layer.weight.copy_(weight)
        if norm is None:
            assert layer.bias is not None
            layer.bias.copy_(bias)
        else:
            handles.append(norm.register_forward_pre_hook(_setting(bias)))
    model.eval()
    model(crops)
    for handle in handles:
        handle.remove()


def _setting(bias: torch.Tensor):  # type: ignore[no-untyped-def]
    def hook(norm: nn.BatchNorm2d, inputs: tuple[torch.Tensor]) -> None:
        assert norm.running_mean is not None
        assert norm.running_var is not None
        var, mean = torch.var_mean(inputs[0].float(), dim=(0, 2, 3))
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(var)
        norm.weight.copy_((var + norm.eps).sqrt())
        norm.bias.copy_(bias + mean)

    return hook


def _called(model: CropModel, crops: torch.Tensor) -> list[nn.Module]:
    """The layers with weights in the order in which they are used."""
    order: list[nn.Module] = []
    kinds = (nn.Conv2d, nn.Linear, nn.BatchNorm2d)
    handles = [
        module.register_forward_pre_hook(lambda called, _: order.append(called))
        for module in model.modules()
        if isinstance(module, kinds)
    ]
    model.eval()
    model(crops)
    for handle in handles:
        handle.remove()
    return order


def _with_normalisations(
    order: list[nn.Module],
) -> Iterator[tuple[nn.Conv2d | nn.Linear, nn.BatchNorm2d | None]]:
    for layer, after in zip(order, [*order[1:], None], strict=True):
        if isinstance(layer, (nn.Conv2d, nn.Linear)):
            yield layer, after if isinstance(after, nn.BatchNorm2d) else None


def _unfolded(weight: torch.Tensor) -> torch.Tensor:
    """The first convolution as it was before `crop_model.fold`: five by five over three channels."""
    out = torch.zeros(weight.shape[0], 3, 5, 5, device=weight.device)
    for row in range(5):
        for column in range(5):
            channel = 3 * (2 * (row % 2) + column % 2)
            out[:, :, row, column] = weight[:, channel : channel + 3, row // 2, column // 2]
    return out
