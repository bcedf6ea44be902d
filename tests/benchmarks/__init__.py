"""What the product costs, each figure beside a peer or a floor measured in the same run."""
