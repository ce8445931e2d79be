"""From the plan to the set: render the tracks, meter, embed, hash, publish."""
