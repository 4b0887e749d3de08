"""The road network as something to travel on: graph, linear referencing, segmentation."""
