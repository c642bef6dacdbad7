"""What `manage.py measure` measures: each thing against the bare baseline that it stands on.

ground      a database and folders of their own, gone afterwards
world       a shop with commissions at every stage, as few or as many as asked
pages       the client's page and the desk's front page ÷ a bare Django view
statements  each page's SQL statements, however many commissions there are
papers      a quote's PDF ÷ bare WeasyPrint
quotes      a quote of sixty lines: its figures while somebody types, and its PDF ÷ bare WeasyPrint
pictures    a photo's renditions ÷ bare Pillow
"""
