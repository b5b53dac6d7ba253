"""The browser application: from upload to verdict, with the same functions as the command line.

Nothing here computes physics, reads files or knows a threshold.

Modules: `launch` (starts the server), `app` and `router` (what the framework
runs), `routes` (the pages), `session` (what one visitor has added and
chosen, as frozen values), `state` (the one owner of the session and of the address), `cache` (bytes, sessions and
results, by content), `pool` (reading and fitting in processes of their own), `progress` (waiting for them), `theme`,
`markdown` (text from outside in labels), `messages` (refusals), `examples` (the sample files), `widgets` (pieces that
several pages share), `views` (one file per page).
"""
