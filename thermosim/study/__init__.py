"""Studies: ensembles, comparisons, what assumed inputs change. They call the engine in batches and return Datasets."""
