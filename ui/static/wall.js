// The screen in the laundry room.

import { follow, put } from './app.js';

const wall = document.getElementById('wall');

follow(wall.dataset.events, wall.dataset.last, {
  wall: (html) => put(wall, html),
});
