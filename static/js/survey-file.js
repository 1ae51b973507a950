// Tells that a file is too large before it travels.
const field = document.querySelector('input[type=file]');
const words = document.getElementById('file-words');

field.addEventListener('change', () => {
  const file = field.files[0];
  const most = Number(field.form.dataset.mostBytes);
  const tooLarge = Boolean(file) && file.size > most;
  words.textContent = tooLarge
    ? `This file has ${(file.size / 1048576).toFixed(0)} MB; the most that is taken is ${(most / 1048576).toFixed(0)} MB. Deliver it in parts or thinned.`
    : '';
  field.setCustomValidity(tooLarge ? words.textContent : '');
});

field.form.addEventListener('submit', () => {
  const button = field.form.querySelector('.button.main');
  button.disabled = true;
  button.textContent = 'Reading the file';
});
