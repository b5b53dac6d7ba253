"""The script that the framework runs for every page: the router.

A process of the pool that is started meanwhile takes this for its own main file, so nothing else stands here.
"""

if __name__ == "__main__":
    from dashboard import router

    router.show()
