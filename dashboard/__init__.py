"""The browser application: from upload to verdict, with the same functions as the command line.

Takes files that are added in the browser; gives pages. Uses: tuner, streamlit. Nothing here computes physics,
reads files or knows a threshold.

Rooms inside: `launch` (starts the server), `app` (router), `bench` (what one visitor has on the bench, as frozen
values), `state` (the one owner of the session and of the address), `cache` (bytes and finished work, by content),
`messages` (refusals), `examples` (the sample files), `beforehand` (measures them before they are opened),
`workers` (long fits in processes of their own), `widgets` (pieces that several pages share), `views` (one file per
page).
"""
