"""
What is kept of a run beside its journal: of its job, of how it was heard, and what a person said of it.

::

    keeping     how much of its sound is kept, and what is written down of its job
    job         the bits that were told, and a copy of the program
    heard       which bit when, where sound was lost, and what was learned
    places      where in the program the cut was over time
    labels      what a person said afterwards; labelling: `chipsong label`
    spoiled     what that makes of the parts; followed: which of them were heard all the way
    doubts      which bits are still in doubt
    pace        how fast a machine was, for its next run
"""
