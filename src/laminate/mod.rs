//! A stack of layers: thickness, areal mass, fibre volume.
