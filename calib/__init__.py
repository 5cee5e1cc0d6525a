"""Clock and uncertainty arithmetic without radio: (nominal, indicated, u) in, Correction out."""
