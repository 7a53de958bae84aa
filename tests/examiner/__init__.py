"""An examiner with physics of its own: random plants, faults and sensors, and a score of what was found."""
