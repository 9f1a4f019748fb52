"""One visit: the job and its axes, safety answers, proposals, and the records that a person confirmed."""
