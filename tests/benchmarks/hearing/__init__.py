"""
The benchmark of hearing, in pieces; ``bench_hearing.py`` beside this folder is the command.

::

    seeds         which seeds are for choosing anything, and which only judge
    programs      small programs, each of which does one thing that must not alarm
    shops         shops drawn by chance: what else sounds, and what hears it
    conditions    healthy cutting: what is cut, in what shop, through what microphone
    faults        what goes wrong, from when on, and until when it must be said
    cases         one run: a condition, perhaps a fault, a seed
    onset         where in a job a fault may begin
    truth         what the simulator's truth says row by row
    hearing       one recording, heard by chipsong
    cepstra       the same windows as cepstral coefficients
    rivals        what a person would use instead
    episodes      scores and a threshold become alarms, as chipsong's become
    outcome       what came of one recording, as a JSON line
    perform       a case becomes outcomes
    store, work   lines on disk, so that a run can be stopped and go on; both cores
    judge         which alarms are right and which are false
    budget        thresholds for the rivals from a budget of false alarms
    intervals     how sure a share or a rate is
    tables/       outcomes become tables
    least         the delay against the least that any rule could reach
    watchers_rule the watcher's own test, as it is fed there
    real          real recordings with a modelled modulation mixed in
"""
