//! Paint build, colour, skin temperature.
