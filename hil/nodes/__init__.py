"""Software nodes: models of sensors, actuators and a head unit that speak the rack's layouts.

Pure machines, like everything that lives in time; chance comes from a seed (noise).  Read in this
order: model, node, sensor, then any node (feedline is the smallest), then console with peers and
head_unit, then glasshouse, which puts them together.
"""
