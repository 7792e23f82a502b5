"""From samples to baseline, noise and excursions."""
