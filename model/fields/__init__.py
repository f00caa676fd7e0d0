"""What the currents do: far and near field, where the power goes, stress on parts, exposure of people."""
