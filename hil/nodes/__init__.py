"""Software nodes: models of sensors, actuators and a head unit that speak the rack's layouts."""
