"""The local page: live beside a run, afterwards over the runs that were kept."""
