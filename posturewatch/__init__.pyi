"""What `__init__.py` gives when it is asked for."""

from posturewatch.errors import PosturewatchError as PosturewatchError
from posturewatch.interface.measuring import Measured as Measured
from posturewatch.interface.measuring import demo_film as demo_film
from posturewatch.interface.measuring import measure_picture as measure_picture
from posturewatch.interface.measuring import measure_video as measure_video
from posturewatch.interface.measuring import series as series
from posturewatch.interface.tables import data_frame as data_frame
from posturewatch.interface.tables import events as events
from posturewatch.interface.tables import practices as practices
from posturewatch.interface.tables import quantities as quantities
from posturewatch.interface.tables import samples as samples

__version__: str
__all__: list[str]
