"""What every fit ships: a network's weights averaged over the last thousand steps or so."""

import copy
import hashlib
import os

import torch


class Steady:
    """Follows a model that is being fitted; model is its average."""

    def __init__(self, model):
        self.model = copy.deepcopy(model).eval()
        self.kept, self.live = ([q for q in m.state_dict().values() if q.dtype.is_floating_point] for m in (self.model, model))

    @torch.no_grad()
    def follow(self, step):
        """Takes in what the model is after so many steps before this one."""
        keep = min(0.999, (step + 1) / (step + 10))
        torch._foreach_mul_(self.kept, keep)
        torch._foreach_add_(self.kept, self.live, alpha=1 - keep)

    def ship(self, folder, name, export):
        """Writes the average as NAME.pt and, by export(model, path), as NAME.onnx; returns what the log says of that."""
        os.makedirs(folder, exist_ok=True)
        torch.save(self.model.state_dict(), os.path.join(folder, name + ".pt"))
        path = os.path.join(folder, name + ".onnx")
        export(copy.deepcopy(self.model), path)
        with open(path, "rb") as f:
            return f"{name}.onnx sha256 {hashlib.sha256(f.read()).hexdigest()}"
