"""
Runs that were kept are heard again.

::

    again       one run, from its sound, as it was heard
    today       as it would be judged today: by the shelf and the references as they are now
    rehearing   `chipsong rehear`: many, and what changed
    runs_at     where runs lie
    many        the same work for many: in processes, or through cluster
    cluster     on a cluster of dask.distributed
    going_on    work that was stopped goes on; ledger: what is done of it
"""
