"""One file that holds a set of files and says what they are: for backups, and for handing a practice to somebody else.

A plain ZIP file, so that anyone can look into it, with `manifest.json` in it (`manifest`): what it is, of which
version, and of each file its path, type, size and SHA-256. Nothing in it is believed before it has been checked, since
it may come from a damaged disk or from a stranger.

To write one, all or nothing:

    KIND = Kind("lesson", 1, {"report.json": JSON, "clips/": MP4}, "a lesson", most_bytes=2 * GIGABYTE)
    with ArchiveWriter(path, KIND, about={"student": "Ada"}) as archive:
        archive.add_bytes("report.json", text.encode())
        archive.add_file("clips/clip-1.mp4", clip_path)

To read one, whose faults are one sentence each (`ArchiveError`):

    with Archive(path, [KIND]) as archive:            # shape, names, types and sizes are right from here on
        about = archive.about_as(About)               # a pydantic model of the kind's own
        archive.check()                               # every byte, against its checksum
        archive.extract("clips/clip-1.mp4", folder / "clip-1.mp4")
"""
