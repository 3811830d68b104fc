"""A large invented office: a small one, made by the real actions, written many times over under other names.

`pattern` makes the small one and takes it back; `stencils` turns its rows into rows with holes; `cast` says what goes
into the holes of each boat; `standing` and `walk` make all rows, the trail's in the order of time; `writing` gets them
into the database, and `loading` is the whole.
"""
